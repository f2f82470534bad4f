"""How the valve moves: cam.csv, or the figures of a cam card in job.toml, less the lash."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from portviz.defaults import or_as
from portviz.errors import JobError
from portviz.job.cam_card import CardCurve, possible_durations, sample, solve_one, solve_two
from portviz.job.cells import numbers
from portviz.job.headers import Column
from portviz.job.model import JOB_FILE, Array, Cam, Index, Side
from portviz.job.schema import CamTable
from portviz.job.tables import Table, read_table
from portviz.units import unit_factor

#: A cam turns once in two turns of the crank [deg].
CAM_TURN = 720.0
#: Fewest points that have a flank on either side of a peak.
_FEWEST_POINTS = 3
#: A step from one turn into the next is no wider than this [deg].
_WIDEST_STEP = 90.0
#: A closed valve's dial gauge may read this much below zero [m].
_UNSTEADY = 5e-5
#: Lifts nearer to the lash than this are taken to be at it [m].
_AT_LASH = 1e-12
_FIGURES = ("peak_lift", "peak_at", "durations")


def cam_columns(side: Side) -> tuple[Column, ...]:
    """Return the columns that cam.csv may have in a job of a side."""
    keep = f'Keep the one of this job\'s valve, side = "{side}", and head it lift'
    return (
        Column("crank", "angle"),
        Column("lift", "length", only_one=keep),
        Column("note", required=False),
        Column("camshaft", "angle", required=False, instead_of="crank"),
        Column("tappet_lift", "length", required=False, instead_of="lift"),
    )


def read_cam(place: tuple[Path, str] | None, typed: CamTable | None, raw: dict[str, Any], side: Side) -> Cam | None:
    """Return the motion of the valve: from a table, from a cam card's figures, or None where there is neither.

    Parameters
    ----------
    place : (Path, str) or None
        The file and the sheet that hold the table.
    typed : CamTable or None
        The section [cam].
    raw : dict
        The same as it was typed, for messages.
    side : str
        The job's.

    Raises
    ------
    JobError
        For a table that can't be read or isn't one valve's lifts by rising angles; for figures that are missing, given
        twice, or make no curve.
    """
    if place is None:
        return None if typed is None else _card_cam(typed, raw)
    if typed is not None:
        _require_no_figures(typed, raw, place[0].name)
    table = read_table(place[0], cam_columns(side), place[1])
    return _table_cam(table, None, 0.0) if typed is None else _table_cam(table, typed.rocker_ratio, typed.lash or 0.0)


def take_lash(crank_deg: Array, lift: Array, lash: float) -> tuple[Array, Array, Index]:
    """Return crank angles [deg] and lifts [m] less the lash, and the point that each comes from.

    Below the lash the valve is closed. Where a straight piece crosses the lash, the crossing becomes a point.

    Parameters
    ----------
    crank_deg, lift : ndarray, shape (K,)
        [deg], [m].
    lash : float
        [m].

    Returns
    -------
    crank_deg, lift : ndarray, shape (M,)
    source : ndarray of int, shape (M,)
        Place among the K points; of a crossing, that of the point before it.
    """
    less = lift - lash
    less[np.abs(less) < _AT_LASH] = 0.0
    before = np.flatnonzero(less[:-1] * less[1:] < 0.0)
    part = less[before] / (less[before] - less[before + 1])
    crossing = crank_deg[before] + part * (crank_deg[before + 1] - crank_deg[before])
    crank = np.insert(crank_deg, before + 1, crossing)
    open_ = np.insert(np.maximum(less, 0.0), before + 1, 0.0)
    return crank, open_, np.asarray(np.insert(np.arange(len(lift)), before + 1, before), dtype=np.intp)


# cam.csv -------------------------------------------------------------------------------------------------------------


def _table_cam(table: Table, ratio: float | None, lash: float) -> Cam:
    angle = "camshaft" if "camshaft" in table.cells else "crank"
    lifted = "tappet_lift" if "tappet_lift" in table.cells else "lift"
    if lifted == "tappet_lift" and ratio is None:
        raise _no_ratio(f"the column {lifted} of {table.file}")
    if lifted == "lift" and ratio is not None:
        raise _idle_ratio(f"{table.file} holds the valve's own lift", "head that column tappet_lift")
    # Angles that a person reads back stay as typed, to the last digit.
    scale = unit_factor(table.units[angle], "angle") / unit_factor("deg", "angle")
    scale *= 2.0 if angle == "camshaft" else 1.0
    crank = numbers(table, angle) * scale
    lift = numbers(table, lifted, "length")
    if len(table) < _FEWEST_POINTS:
        raise JobError(
            f"the table has too few rows, {len(table)}",
            file=table.file,
            expected=f"at least {_FEWEST_POINTS}: opening, peak and closing, better one every few degrees",
        )
    negative = lift < -_UNSTEADY
    if negative.any():
        lines = table.lines[np.flatnonzero(negative)]
        others = f"{', '.join(map(str, lines[1:9]))}{' ...' if len(lines) > 9 else ''}"
        more = f"; so are those in lines {others}" if len(lines) > 1 else ""
        raise table.error(
            int(np.argmax(negative)),
            lifted,
            f"a lift can't be negative{more}",
            mend="Write 0 where the valve is closed; a clearance goes into job.toml, section [cam], as lash",
        )
    below, lift = min(float(lift.min()), 0.0), np.maximum(lift, 0.0)
    _require_rising(table, angle, crank, scale)
    crank, lift, lines = _from_closed(crank, lift, table.lines)
    crank, lift, source = take_lash(crank, lift * or_as(ratio, 1.0), lash)
    return Cam(crank, lift, table.file, lines[source], lash, below)


def _from_closed(crank: Array, lift: Array, lines: Index) -> tuple[Array, Array, Index]:
    """Return a table of one whole turn of the cam begun where the valve is closed, if it begins with the valve open.

    Only where there is no doubt: the angles run over 720 deg of crank, with or without the first one once more at the
    end, and the valve is closed somewhere in between. What stood before is written on behind, 720 deg later.
    """
    span = float(crank[-1] - crank[0])
    again = abs(span - CAM_TURN) < 1e-6 and abs(lift[0] - lift[-1]) <= _UNSTEADY
    step = float(np.median(np.diff(crank)))
    closed = np.flatnonzero(lift <= 0.0)
    whole = again or abs(span + step - CAM_TURN) < 1e-6
    if not whole or not closed.size or lift[0] <= 0.0 or lift[-1] <= 0.0:
        return crank, lift, lines
    last = len(lift) - 1 if again else len(lift)
    begin = int(closed[-1])
    order = np.concatenate([np.arange(begin, last), np.arange(begin + 1)])
    turned = crank[order] + np.where(np.arange(len(order)) < last - begin, 0.0, CAM_TURN)
    return turned, lift[order], lines[order]


def _require_rising(table: Table, angle: str, crank: Array, scale: float) -> None:
    """Raise JobError where angles don't rise from row to row, or span more than a turn of the cam.

    Parameters
    ----------
    table : Table
    angle : str
        The column of the angles.
    crank : ndarray, shape (K,)
        [deg of crank].
    scale : float
        Degrees of crank in one unit of the column.
    """
    step = np.diff(crank)
    falls = np.flatnonzero(step < 0.0)
    rise = f"{angle} angles must rise from row to row"
    if falls.size:
        row = int(falls[0]) + 1
        turn = _turn_of(crank, row) if falls.size == 1 else None
        if turn is not None:
            again = f"{(crank[row] + turn) / scale:.6g}"
            raise table.error(
                row,
                angle,
                f"{rise}, and here the next turn begins",
                expected=f"angles that go on past the turn, here {again}",
                mend=f"Write {again} for {crank[row] / scale:.6g}, and add {turn / scale:.6g} in every row from here",
            )
        falling = falls.size == len(step)
        raise table.error(
            row,
            angle,
            f"{rise}; {'they fall throughout' if falling else 'here they fall'}",
            expected="a larger angle than in the row before",
            mend=f"Sort the rows by {angle} angle, the smallest first",
        )
    if not step.all():
        row = int(np.argmin(step != 0.0)) + 1
        raise table.error(
            row,
            angle,
            f"{rise}; this one is already in line {table.lines[row - 1]}",
            expected="each angle once",
            mend="Keep one row for each angle",
        )
    span = float(crank[-1] - crank[0])
    if span > CAM_TURN + 1e-6:
        crank_degrees = "; if these are crank degrees, head the column crank [deg]" if angle == "camshaft" else ""
        raise table.error(
            len(crank) - 1,
            angle,
            f"the table spans {span:.6g} deg of crank",
            expected=f"at most {CAM_TURN:g} deg, one turn of the cam",
            mend=f"Keep one turn, with one opening of the valve{crank_degrees}",
        )


def _turn_of(crank: Array, row: int) -> float | None:
    """Return by how much the angles fall at the row where a new turn begins [deg of crank], or None if none does."""
    for turn in (360.0, 720.0):
        step = crank[row] + turn - crank[row - 1]
        if 0.0 <= step <= _WIDEST_STEP and crank[-1] + turn - crank[0] <= CAM_TURN + 1e-6:
            return turn
    return None


# A cam card's figures ------------------------------------------------------------------------------------------------


def _card_cam(typed: CamTable, raw: dict[str, Any]) -> Cam:
    missing = [key for key in _FIGURES if key not in raw]
    if missing:
        given = [key for key in _FIGURES if key not in missing]
        what = f"{', '.join(missing[:-1])} and {missing[-1]}" if len(missing) > 1 else missing[0]
        raise JobError(
            f"the section says too little of the lift: {what} {'is' if len(missing) == 1 else 'are'} missing"
            if given
            else "the section says nothing of the lift, and there is no cam.csv",
            file=JOB_FILE,
            place=f"cam.{missing[0]}" if given else "cam",
            expected='a cam card\'s figures, such as peak_lift = "10.6 mm", peak_at = "108 deg" and '
            'durations = [ { lift = "1 mm", angle = "234 deg" } ]; or cam.csv with crank [deg] and lift [mm]',
        )
    peak, at, durations = typed.peak_lift, typed.peak_at, typed.durations
    if peak is None or at is None or not durations:
        raise JobError(
            "this list is empty",
            file=JOB_FILE,
            place="cam.durations",
            expected="one or two of { lift = ..., angle = ... }",
        )
    ratio = 1.0
    if typed.lift_of == "tappet":
        if typed.rocker_ratio is None:
            raise _no_ratio('cam.lift_of = "tappet"')
        ratio = typed.rocker_ratio
    elif typed.rocker_ratio is not None:
        raise _idle_ratio("the card's figures are the valve's own lift", 'write lift_of = "tappet"')
    curve = _curve(peak, in_degrees(at), [(each.lift, in_degrees(each.angle)) for each in durations], raw)
    crank, lift = sample(curve, [0.5 * in_degrees(each.angle) for each in durations])
    crank, lift, _ = take_lash(crank, lift * ratio, typed.lash or 0.0)
    return Cam(crank, lift, JOB_FILE, None, typed.lash or 0.0)


def _curve(peak: float, at: float, durations: list[tuple[float, float]], raw: dict[str, Any]) -> CardCurve:
    """Return the curve of one or two durations (lift [m], angle [deg]) in the order typed, or raise JobError."""
    for number, (lift, _) in enumerate(durations):
        if lift >= peak:
            raise JobError(
                "this lift is not below the peak",
                file=JOB_FILE,
                place=f"cam.durations[{number + 1}].lift",
                value=raw["durations"][number]["lift"],
                expected=f"less than peak_lift, {raw['peak_lift']}",
            )
    order = sorted(range(len(durations)), key=lambda number: durations[number])
    lifts, angles = zip(*(durations[number] for number in order), strict=True)
    if len(durations) == 1:
        curve = solve_one(peak, at, lifts[0], angles[0])
    else:
        _require_member(peak, lifts, angles, order, raw)
        curve = solve_two(peak, at, lifts, angles)
    whole = 2.0 * curve.half_duration_deg
    if whole > CAM_TURN:
        raise JobError(
            f"from opening to closing this curve takes {whole:.4g} deg of crank",
            file=JOB_FILE,
            place="cam.durations",
            expected=f"at most {CAM_TURN:g} deg, one turn of the cam",
            mend="Check lifts, angles and peak_lift",
        )
    return curve


def _require_member(
    peak: float, lifts: tuple[float, ...], angles: tuple[float, ...], order: list[int], raw: dict[str, Any]
) -> None:
    """Raise JobError where no curve stands above both lifts for just so long; lifts rise, `order` is that typed."""
    first, second = (raw["durations"][number] for number in order)
    where = {"file": JOB_FILE, "place": f"cam.durations[{order[1] + 1}]"}
    if lifts[0] == lifts[1]:
        raise JobError("both durations are at the same lift", **where, value=second["lift"], mend="Keep one of the two")
    if angles[1] >= angles[0]:
        raise JobError(
            f"above {second['lift']} the valve can't stand as long as above {first['lift']}, or longer",
            **where,
            value=second["angle"],
            expected=f"less than {first['angle']}",
            mend="Check which angle belongs to which lift",
        )
    least, greatest = possible_durations(lifts[0] / peak, angles[0], lifts[1] / peak)
    if least <= angles[1] <= greatest:
        return
    # Told inward of the limits, so that what is read here is accepted.
    low, high = math.ceil(least * 10.0) / 10.0, math.floor(greatest * 10.0) / 10.0
    fuller = "fuller" if angles[1] > greatest else "more pointed"
    raise JobError(
        f"this is {fuller} than any smooth curve of the family that is assumed here, with {first['angle']} above "
        f"{first['lift']}",
        **where,
        value=second["angle"],
        expected=f"between {low:g} deg and {high:g} deg above {second['lift']}",
        mend="Check the figures; else leave one duration out, or measure the lift and write cam.csv",
    )


def _require_no_figures(typed: CamTable, raw: dict[str, Any], file: str) -> None:
    """Raise JobError where a section [cam] beside a table says more than ratio and lash."""
    figures = [key for key in _FIGURES if key in raw]
    if figures:
        raise JobError(
            f"the lift is given twice, here and in {file}",
            file=JOB_FILE,
            place=", ".join(f"cam.{key}" for key in figures),
            expected="only rocker_ratio and lash beside a table of lifts",
            mend=f"Take {', '.join(figures)} out of job.toml, or {file} out of the folder",
        )
    if "lift_of" in raw:
        raise JobError(
            "this speaks of a cam card's figures, and the lifts are in a table",
            file=JOB_FILE,
            place="cam.lift_of",
            value=typed.lift_of,
            mend=f"Take it away; tappet lifts in {file} stand in a column headed tappet_lift",
        )


def _no_ratio(whose: str) -> JobError:
    return JobError(
        f"the rocker ratio is missing: {whose} is the tappet's lift, not the valve's",
        file=JOB_FILE,
        place="cam.rocker_ratio",
        expected="valve lift over tappet lift, such as rocker_ratio = 1.5 in the section [cam] (1 where the tappet "
        "moves the valve itself)",
    )


def _idle_ratio(why: str, how: str) -> JobError:
    return JobError(
        f"there is a rocker ratio, but {why}",
        file=JOB_FILE,
        place="cam.rocker_ratio",
        mend=f"Take rocker_ratio away; or, if the lifts are the tappet's, {how}",
    )


def in_degrees(angle: float) -> float:
    """Return an angle [rad] in degrees as it was typed, without the digits that two conversions leave behind."""
    return round(math.degrees(angle), 9)
