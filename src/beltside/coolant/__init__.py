"""The coolant: mixture, cap, hold test, fill, the belt-off clock, draining. Numbers in and out."""
