"""Bolting: torque, tightening order, sealant, counter-hold, stuck fasteners, hole match."""
