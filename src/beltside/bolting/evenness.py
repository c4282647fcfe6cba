"""How evenly bolts press a gasket: a thin plate on a line of springs.

The cover is a thin elastic plate without an edge (its bending dies out within a few spans, and
a rim only stiffens it), the gasket a line of springs beneath it, the bolts point loads on it.
The plate also shifts and tilts as a whole. Everything is linear: the springs are taken to stay
in touch, which the hand-tight start sees to.

Plate under a point load: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells (1959),
w = P r^2 ln r / (8 pi D) plus terms that the balance of forces takes up; the same function is
the thin-plate spline (Duchon 1977). Method: docs/methods/bolt-order.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError
from beltside.bolting.flange import Flange, gasket_nodes, places

Float64 = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ElasticJoint:
    """What one newton on each bolt does.

    Attributes
    ----------
    pressure
        Gasket load per length of line [N/mm] for 1 N on each bolt, shape (nodes, bolts).
    sink
        How far the cover goes down at each bolt [mm] for 1 N on each, shape (bolts, bolts);
        symmetric (Maxwell 1864).
    nodes_mm, length_mm
        Middle [mm] and length [mm] of each piece of gasket, shapes (nodes, 2) and (nodes,).
    """

    pressure: Float64
    sink: Float64
    nodes_mm: Float64
    length_mm: Float64

    @property
    def bolts(self) -> int:
        """How many bolts clamp."""
        return int(self.pressure.shape[1])


def elastic_joint(flange: Flange) -> ElasticJoint:
    """The joint's response to each bolt.

    Raises
    ------
    InputError
        When the gasket's line leaves the cover free to tilt.
    """
    nodes_mm, length_mm = gasket_nodes(flange)
    pressure, sink = plate_on_springs(
        places(flange.bolts),
        nodes_mm,
        flange.gasket_stiffness_mpa * length_mm,
        flange.plate_stiffness_nmm,
    )
    return ElasticJoint(pressure / length_mm[:, None], sink, nodes_mm, length_mm)


def plate_on_springs(
    loads_mm: Float64, springs_mm: Float64, spring_n_mm: Float64, plate_nmm: float
) -> tuple[Float64, Float64]:
    """A plate without an edge, on springs, under a unit load at each of several points.

    Parameters
    ----------
    loads_mm, springs_mm
        Where the loads and the springs are [mm], shapes (loads, 2) and (springs, 2).
    spring_n_mm
        Stiffness of each spring [N/mm], shape (springs,).
    plate_nmm
        Bending stiffness of the plate [N mm].

    Returns
    -------
    tuple
        Force in each spring [N] for 1 N at each load, shape (springs, loads), and how far the
        plate goes down at each load [mm], shape (loads, loads).

    Raises
    ------
    InputError
        When the springs lie in one line or point, so that nothing stops the plate from tilting.
    """
    middle = springs_mm.mean(axis=0)
    reach_mm = float(np.abs(springs_mm - middle).max())
    loads, springs = (loads_mm - middle) / reach_mm, (springs_mm - middle) / reach_mm
    # Measuring r in another unit only adds what shifting and tilting take up.
    bend = reach_mm**2 / plate_nmm
    between = bend * _point_load(springs, springs)
    to_loads = bend * _point_load(springs, loads)
    rigid, rigid_loads = _shift_and_tilt(springs), _shift_and_tilt(loads)
    count = len(springs)
    system = np.zeros((count + 3, count + 3))
    system[:count, :count] = np.eye(count) + between * spring_n_mm
    system[:count, count:] = -rigid
    system[count:, :count] = rigid.T * spring_n_mm
    if np.linalg.matrix_rank(rigid.T @ rigid, tol=1e-9) < 3:
        raise InputError(
            "the gasket's line leaves the cover free to tilt",
            allowed="a closed line round an area",
        )
    solved = np.linalg.solve(system, np.concatenate([to_loads, rigid_loads.T]))
    force = spring_n_mm[:, None] * solved[:count]
    sink = bend * _point_load(loads, loads) - to_loads.T @ force + rigid_loads @ solved[count:]
    return force, (sink + sink.T) / 2.0


def peak_to_mean(joint: ElasticJoint, bolt_force_n: Float64) -> float:
    """Highest over mean gasket load along the line; 1 is perfectly even.

    Parameters
    ----------
    joint
        The joint.
    bolt_force_n
        Force of each bolt, any unit, shape (bolts,); not all zero.
    """
    load = joint.pressure @ bolt_force_n
    mean = float(load @ joint.length_mm) / float(joint.length_mm.sum())
    return float(load.max()) / mean


def _point_load(at: Float64, load: Float64) -> Float64:
    """r^2 ln r / (8 pi), the plate's shape round a point load, between two sets of points."""
    squared = ((at[:, None, :] - load[None, :, :]) ** 2).sum(axis=2)
    logarithm = np.log(np.where(squared > 0.0, squared, 1.0))
    return np.asarray(squared * logarithm / (16.0 * np.pi), dtype=np.float64)


def _shift_and_tilt(at: Float64) -> Float64:
    return np.column_stack([np.ones(len(at)), at])
