"""What a study's chart shows, as arrays: designs taken evenly, and maps over lift or over two dimensions; undrawn."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from portviz.distribution.designs import Designs, key_kind
from portviz.distribution.study import LOW_LIFT, Study
from portviz.geometry.passages import least_passages
from portviz.job.model import Array, Index, Mask
from portviz.units import format_quantity

#: Values of a dimension, and lifts beside the study's own, that a map holds at most.
MOST_VALUES, _LIFTS = 160, 49
#: Values that both dimensions of a small map hold at most.
_MOST_OF_PAIR = 80


@dataclass(frozen=True)
class DimensionMap:
    """Change of flow area over one dimension and lift.

    Parameters
    ----------
    key : str
        The dimension's, in job.toml.
    value : ndarray, shape (K,)
        Of the dimension in SI, ascending.
    lift : ndarray, shape (L,)
        [m], ascending, above zero; the study's own are among them.
    change : ndarray, shape (K, L)
        Flow area over the present design's, less one [-].
    line : ndarray of bool, shape (K,)
        True where face and seat touch along a line.
    takes_over : ndarray, shape (K,)
        Lift up to which the gap is the narrowest passage [m]; NaN where it is up to the last.
    present : float
        The dimension's value in the job as it stands; NaN where it has none.
    """

    key: str
    value: Array
    lift: Array
    change: Array
    line: Mask
    takes_over: Array
    present: float


@dataclass(frozen=True)
class PairMap:
    """Change of flow area over two dimensions at one lift.

    Parameters
    ----------
    keys : tuple of str
    across, along : ndarray, shape (K,), (L,)
        Values of the first and the second dimension in SI, ascending.
    lift : float
        [m].
    change : ndarray, shape (L, K)
        Flow area over the present design's, less one [-]; NaN where a design makes no valve and seat.
    line : ndarray of bool, shape (L, K)
        True where face and seat touch along a line.
    present : tuple of float
        Both values in the job as it stands.
    """

    keys: tuple[str, str]
    across: Array
    along: Array
    lift: float
    change: Array
    line: Mask
    present: tuple[float, float]


def evenly(count: int, most: int) -> Index:
    """Return at most so many places of `count`, evenly, the first and the last among them.

    Examples
    --------
    >>> evenly(9, 3).tolist(), evenly(2, 5).tolist()
    ([0, 4, 8], [0, 1])
    """
    if count <= most:
        return np.arange(count)
    return np.unique(np.linspace(0.0, count - 1.0, most).round().astype(np.intp))


def drawn_places(study: Study, keys: tuple[str, ...], most: int) -> Index:
    """Return the places of the designs whose lines are drawn, ascending.

    Named designs always, and all where there are no more than `most`. Of a grid over several dimensions those in
    which each value of each dimension appears, as far as `most` allows: of a dimension with more values some, evenly.
    """
    count = study.count - 1
    if count <= most or any(name is not None for name in study.designs.names):
        return 1 + np.arange(count)
    if len(keys) < 2:
        return 1 + evenly(count, most)
    wanted: set[tuple[str, float]] = set()
    of_place: list[set[tuple[str, float]]] = [set() for _ in range(count)]
    for key in keys:
        column = study.designs.values[key][1:]
        values = np.unique(column)
        wanted |= {(key, value) for value in values[evenly(len(values), most)].tolist()}
        for each, value in zip(of_place, column.tolist(), strict=True):
            each.add((key, value))
    chosen: list[int] = []
    while wanted and len(chosen) < most:
        gains = [len(each & wanted) for each in of_place]
        best = int(np.argmax(gains))
        chosen.append(best)
        wanted -= of_place[best]
    return 1 + np.sort(np.array(chosen, dtype=np.intp))


def part_of(study: Study, places: Index) -> Study:
    """Return a study of some of its designs."""
    designs, contact = study.designs, study.contact
    rows = places.tolist()
    chosen = Designs(
        tuple(designs.names[place] for place in rows),
        tuple(designs.changes[place] for place in rows),
        {key: value[places] for key, value in designs.values.items()},
        designs.dimensions.take(places),
        designs.holds,
    )
    return replace(
        study,
        designs=chosen,
        profiles=study.profiles.take(places),
        gap_area=study.gap_area[places],
        throat_area=study.throat_area[places],
        three_stage_area=study.three_stage_area[places],
        limited_by_gap=study.limited_by_gap[places],
        stage=study.stage[places],
        contact=type(contact)(**{name: getattr(contact, name)[places] for name in contact.__dataclass_fields__}),
        event_area=None if study.event_area is None else study.event_area[places],
        event_flow=None if study.event_flow is None else study.event_flow[places],
    )


def varied_keys(study: Study) -> tuple[str, ...]:
    """Return the dimensions that every design beside the present one changes, where they have values and no names."""
    if study.count < 2 or any(name is not None for name in study.designs.names):
        return ()
    return tuple(study.designs.named_changes(1))


def present_value(study: Study, key: str) -> float:
    """Return a dimension's value in the job as it stands, in SI; NaN where it has none."""
    dims = study.designs.dimensions
    default = {
        "valve.face_angle": dims.face_angle[0],
        "valve.face_width": dims.face_width[0],
        "seat.outer_diameter": 2.0 * dims.seat_outer_radius[0],
    }
    own = float(study.designs.values[key][0])
    return float(default.get(key, np.nan)) if np.isnan(own) else own


def unit_of(study: Study, key: str) -> tuple[str, str]:
    """Return the unit and the kind of unit in which a dimension is shown."""
    kind = key_kind(key, study.job)[1]
    return {"length": study.job.units.length, "angle": "deg", "force": "N", "pressure": "bar"}[kind], kind


def key_words(key: str) -> str:
    """Return a key of job.toml in words.

    Examples
    --------
    >>> key_words("seat.bottom_cuts[2].width")
    'seat bottom cut 2 width'
    """
    return key.replace("bottom_cuts[", "bottom cut ").replace("]", "").replace(".", " ").replace("_", " ")


def value_words(study: Study, keys: tuple[str, ...], place: int) -> str:
    """Return a design's values of some dimensions in their units."""
    words = []
    for key in keys:
        unit, kind = unit_of(study, key)
        value = float(study.designs.values[key][place])
        words.append(format_quantity(value, unit, kind, None if kind == "length" else 1))
    return ", ".join(words)


def dimension_map(study: Study, key: str) -> DimensionMap:
    """Return the map of a study that varies one dimension; passages at lifts between the study's own are found anew."""
    value, first = np.unique(study.designs.values[key][1:], return_index=True)
    taken = evenly(len(value), MOST_VALUES)
    places = first[taken] + 1
    above = study.lift[study.lift > 0.0]
    chosen = part_of(study, np.concatenate([[0], places]))
    takes_over = chosen.throat_takes_over()[1:]
    # Where another passage takes over below the lowest lift asked for the map reaches down to it.
    lowest = min(float(above[0]), float(np.nanmin(takes_over, initial=np.inf)))
    lift = np.unique(np.concatenate([above, np.linspace(max(lowest, 0.05 * above[0]), above[-1], _LIFTS)]))
    # Two lifts that differ in their last digits alone would make a stripe too thin to see.
    own = np.isin(lift, above)
    near = np.concatenate([[False], np.diff(lift) < 1e-9])
    lift = lift[~near | own]
    area = least_passages(chosen.profiles, lift).flow_area
    return DimensionMap(
        key,
        value[taken],
        lift,
        area[1:] / area[0] - 1.0,
        chosen.contact.line[1:],
        takes_over,
        present_value(study, key),
    )


def pair_maps(study: Study, keys: tuple[str, str]) -> tuple[PairMap, ...]:
    """Return the maps of a study that varies two dimensions, up to three: at its lowest, a low and its highest lift."""
    columns = (study.designs.values[key][1:] for key in keys)
    (across, at_across), (along, at_along) = (np.unique(column, return_inverse=True) for column in columns)
    part = evenly(len(across), _MOST_OF_PAIR), evenly(len(along), _MOST_OF_PAIR)
    above = np.flatnonzero(study.lift > 0.0)
    low = int(above[np.argmin(np.abs(study.lift[above] - LOW_LIFT * study.job.valve.head_diameter))])
    cells = at_along.reshape(-1), at_across.reshape(-1)
    line = np.zeros((len(along), len(across)), dtype=bool)
    line[cells] = study.contact.line[1:]
    found = []
    for column in sorted({int(above[0]), low, int(above[-1])}):
        change = np.full((len(along), len(across)), np.nan)
        area = study.flow_area[:, column]
        change[cells] = area[1:] / area[0] - 1.0
        present = present_value(study, keys[0]), present_value(study, keys[1])
        found.append(
            PairMap(
                keys,
                across[part[0]],
                along[part[1]],
                float(study.lift[column]),
                change[np.ix_(*part[::-1])],
                line[np.ix_(*part[::-1])],
                present,
            )
        )
    return tuple(found)


def cell_edges(values: Array) -> Array:
    """Return the edges of cells round ascending values, half-way between them, shape (K + 1,)."""
    if len(values) == 1:
        half = max(0.05 * abs(float(values[0])), 1e-6)
        return np.array([values[0] - half, values[0] + half])
    middle = 0.5 * (values[1:] + values[:-1])
    return np.concatenate([[2.0 * values[0] - middle[0]], middle, [2.0 * values[-1] - middle[-1]]])
