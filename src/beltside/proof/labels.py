"""Which lines get a label, what it says, and where it stands so that none overlap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beltside.casework.results import ExplainedLine
from beltside.proof.wording import order_words, part_words

Float64 = npt.NDArray[np.float64]


@dataclass(frozen=True)
class LineLabel:
    """One label for all lines of one source in one part.

    Attributes
    ----------
    part
        Name of the part in words.
    source
        What in the part makes the lines.
    orders
        At which orders, in words.
    strongest
        The line the label points at.
    lines
        All lines it stands for, rising in order.
    """

    part: str
    source: str
    orders: str
    strongest: ExplainedLine
    lines: tuple[ExplainedLine, ...]


def line_labels(
    lines: Sequence[ExplainedLine], most: int = 12
) -> tuple[list[LineLabel], list[LineLabel]]:
    """Labels for explained lines, rising in order, and those left out.

    Harmonics of one source share a label. When there are more than `most`, each part keeps its
    most significant label first, then the most significant of the rest fill up.
    """
    groups: dict[tuple[str, str], list[ExplainedLine]] = {}
    for line in lines:
        groups.setdefault((line.part, line.source), []).append(line)
    labels = [_label(group) for group in groups.values()]
    labels.sort(key=lambda label: -label.strongest.significance)
    first_of_part: dict[str, LineLabel] = {}
    for label in labels:
        first_of_part.setdefault(label.part, label)
    firsts = list(first_of_part.values())
    others = [label for label in labels if all(label is not first for first in firsts)]
    ranked = firsts + others
    kept = sorted(ranked[:most], key=lambda label: label.strongest.order)
    return kept, ranked[most:]


def _label(group: Sequence[ExplainedLine]) -> LineLabel:
    rising = tuple(sorted(group, key=lambda line: line.order))
    strongest = max(rising, key=lambda line: line.significance)
    orders = list(dict.fromkeys(order_words(line.order) for line in rising))
    shown = ", ".join(orders[:3])
    if len(orders) > 3:
        shown = f"{shown} and on"
    return LineLabel(
        part=part_words(strongest.part),
        source=strongest.source,
        orders=f"order {shown}" if len(orders) == 1 else f"orders {shown}",
        strongest=strongest,
        lines=rising,
    )


def spread(
    wanted_px: Sequence[float], heights_px: Sequence[float], low_px: float, high_px: float
) -> list[float]:
    """Places of labels along one axis, as near as can be to the wanted ones, none overlapping.

    Least squares under the condition that neighbours keep half of either height between their
    centres: isotonic regression by pooling adjacent violators (Barlow and others 1972, ch. 1).

    Parameters
    ----------
    wanted_px
        Wanted centres, rising, shape (n,) [px].
    heights_px
        Heights of the labels, shape (n,) [px].
    low_px, high_px
        The labels stay between these [px].

    Returns
    -------
    Centres in the same order [px].

    Raises
    ------
    ValueError
        When the labels together are higher than the room there is.
    """
    count = len(wanted_px)
    if count == 0:
        return []
    heights = np.asarray(heights_px, dtype=np.float64)
    if float(heights.sum()) > high_px - low_px + 1e-9:
        raise ValueError(
            f"labels of {float(heights.sum()):g} px do not fit into {high_px - low_px:g} px"
        )
    offsets = np.concatenate(([0.0], np.cumsum((heights[:-1] + heights[1:]) / 2.0)))
    pooled: list[tuple[float, int]] = []
    for value in np.asarray(wanted_px, dtype=np.float64) - offsets:
        mean, members = float(value), 1
        while pooled and pooled[-1][0] > mean:
            before, before_members = pooled.pop()
            mean = (mean * members + before * before_members) / (members + before_members)
            members += before_members
        pooled.append((mean, members))
    bases: Float64 = np.repeat([mean for mean, _ in pooled], [members for _, members in pooled])
    lowest = low_px + heights[0] / 2.0
    highest = high_px - heights[-1] / 2.0 - offsets[-1]
    return [float(place) for place in np.clip(bases, lowest, highest) + offsets]
