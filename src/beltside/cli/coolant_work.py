"""The commands `beltside coolant hold|fill|clock|drain`, on the same footing as cli/coolant.py."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from beltside.base.errors import InputError
from beltside.cli.coolant import Altitude, Json, Pictures, Us, optional, show
from beltside.cli.coolant import coolant_app as coolant_app
from beltside.cli.problems import require_file
from beltside.cli.screen import complain, write

if TYPE_CHECKING:
    from beltside.casework.coolant_answer import CoolantAnswer
    from beltside.casework.coolant_hold import HoldSetup


@coolant_app.command(short_help="Is it leaking, how fast, how sure is that.")
def hold(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[CSV]", help="Readings: a heading, then time and pressure."),
    ] = None,
    reading: Annotated[
        list[str] | None,
        typer.Option(
            "--reading",
            "-r",
            metavar="TIME=PRESSURE",
            help='Typed: "1:30=107", with engine and air "1:30=107/25C/20C"; repeat.',
        ),
    ] = None,
    live: Annotated[
        bool, typer.Option("--live", help="Type each reading as you take it; an empty line ends.")
    ] = False,
    cap: Annotated[
        str | None, typer.Option("--cap", metavar="MARK", help="The cap's mark.")
    ] = None,
    gauge_step: Annotated[
        str | None,
        typer.Option("--gauge-step", metavar="PRESSURE", help="Step in which the gauge is read."),
    ] = None,
    reading_error: Annotated[
        str | None,
        typer.Option("--reading-error", metavar="PRESSURE", help="Standard error of the reader."),
    ] = None,
    capacity: Annotated[
        str | None, typer.Option("--capacity", metavar="AMOUNT", help="Coolant in the system.")
    ] = None,
    strokes: Annotated[float | None, typer.Option("--strokes", help="Counted.")] = None,
    stroke_ml: Annotated[
        float | None, typer.Option("--stroke-ml", help="Volume of one stroke [mL].")
    ] = None,
    trapped_air: Annotated[
        str | None,
        typer.Option("--trapped-air", metavar="AMOUNT", help="In bottle and system, before."),
    ] = None,
    start_pressure: Annotated[
        str, typer.Option("--start-pressure", help="Before the first stroke.")
    ] = "0",
    engine: Annotated[
        str | None, typer.Option("--engine", metavar="TEMP", help="Engine at the start.")
    ] = None,
    air: Annotated[
        str | None, typer.Option("--air", metavar="TEMP", help="Air at the start.")
    ] = None,
    tester_fall: Annotated[
        str | None,
        typer.Option(
            "--tester-fall",
            metavar="PRESSURE",
            help="Fall in a minute of the tester alone, on a plugged adaptor.",
        ),
    ] = None,
    matters: Annotated[
        str | None,
        typer.Option(
            "--matters",
            metavar="RATE",
            help='Leak that "tight" rules out: "1 mL/min"; 3 when not given.',
        ),
    ] = None,
    seen: Annotated[
        list[str] | None,
        typer.Option(
            "--seen",
            help="drip, wet-hose, weep-hole, wet-carpet, bubbles, milky-oil, white-smoke, "
            "adaptor-hiss, nothing; repeat.",
        ),
    ] = None,
    altitude: Altitude = "0",
    us: Us = False,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Judge a hold test: tight, leaking or not yet known, with the rate and how sure it is."""
    if sum((file is not None, bool(reading), live)) != 1:
        raise InputError(
            "readings from no place, or from several",
            allowed="one of: a CSV file, --reading for each, or --live",
            instead="beltside coolant hold readings.csv --cap 1.1",
        )
    from beltside.casework.coolant_hold import begun_at, hold_answer, hold_setup
    from beltside.casework.coolant_readings import load_hold_readings, read_typed
    from beltside.casework.coolant_values import (
        read_flow_ml_min,
        read_gauge_kpa,
        read_litres,
        read_metres,
        read_temperature_c,
    )

    setup = hold_setup(
        cap=cap,
        altitude_m=read_metres(altitude, "the altitude", us=us),
        gauge_step_kpa=None if gauge_step is None else read_gauge_kpa(gauge_step, us=us),
        reading_error_kpa=None if reading_error is None else read_gauge_kpa(reading_error, us=us),
        capacity_l=optional(capacity, read_litres, "the capacity", us),
        air_l=optional(trapped_air, read_litres, "the trapped air", us),
        strokes=strokes,
        stroke_ml=stroke_ml,
        start_kpa=read_gauge_kpa(start_pressure, us=us),
        tester_kpa_min=None if tester_fall is None else read_gauge_kpa(tester_fall, us=us),
        matters_ml_min=None if matters is None else read_flow_ml_min(matters),
    )
    engine_c = optional(engine, read_temperature_c, "the engine's temperature", us)
    air_c = optional(air, read_temperature_c, "the air's temperature", us)
    if live:
        answer = _live(sys.stdin, setup, seen or [], us, engine_c, air_c)
    else:
        if file is not None:
            require_file(file, "a CSV file of readings")
            readings = load_hold_readings(file)
        else:
            readings = [read_typed(text, us=us) for text in reading or []]
        answer = hold_answer(begun_at(readings, engine_c, air_c), setup, seen=seen or [], us=us)
    show(answer, as_json, pictures)


def _live(
    lines: Iterable[str],
    setup: HoldSetup,
    seen: list[str],
    us: bool,
    engine_c: float | None,
    air_c: float | None,
) -> CoolantAnswer:
    """Readings as they are typed; a line each to the error stream, the last answer back."""
    import time

    from beltside.casework.coolant_hold import LiveHold, begun_at
    from beltside.casework.coolant_readings import read_typed

    test = LiveHold(setup, seen=seen, us=us)
    complain("type PRESSURE, or TIME PRESSURE, after each look; an empty line ends")
    answer: CoolantAnswer | None = None
    started: float | None = None
    for line in _until_empty(lines):
        now = time.monotonic()
        started = now if started is None else started
        timed = "=" in line or " " in line.strip()
        typed = line if timed else f"{(now - started) / 60.0:.4f}={line}"
        try:
            one = read_typed(typed, us=us)
            if not test.readings:
                (one,) = begun_at([one], engine_c, air_c)
            answer = test.add(one)
        except InputError as error:
            complain(f"not taken: {error}")
            continue
        write(f"{one.minutes:6.2f} min  {answer.headline}\n", sys.stderr)
    if answer is None:
        raise InputError("no reading was typed", allowed="a pressure on each line")
    return answer


def _until_empty(lines: Iterable[str]) -> Iterator[str]:
    for line in lines:
        if not line.strip():
            return
        yield line.strip()


@coolant_app.command(short_help="What came out, what went in, what is missing.")
def fill(
    drained: Annotated[
        list[str] | None,
        typer.Option("--drained", metavar="AMOUNT", help="Measured; repeat."),
    ] = None,
    poured: Annotated[
        list[str] | None, typer.Option("--poured", metavar="AMOUNT", help="Measured; repeat.")
    ] = None,
    spilled: Annotated[str, typer.Option("--spilled", metavar="AMOUNT", help="A guess.")] = "0",
    lost_before: Annotated[
        str,
        typer.Option("--lost-before", metavar="AMOUNT", help="Missing when the car came."),
    ] = "0",
    capacity: Annotated[
        str | None, typer.Option("--capacity", metavar="AMOUNT", help="Of the whole system.")
    ] = None,
    dry: Annotated[
        bool, typer.Option("--dry", help="The system was empty: its capacity counts as out.")
    ] = False,
    us: Us = False,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Keep the ledger of a fill: air still inside, how to bleed it, when to look again."""
    from beltside.casework.coolant_values import read_litres
    from beltside.casework.coolant_work import fill_answer

    answer = fill_answer(
        drained_l=[read_litres(text, "what was drained", us=us) for text in drained or []],
        poured_l=[read_litres(text, "what was poured", us=us) for text in poured or []],
        spilled_l=read_litres(spilled, "what was spilled", us=us),
        lost_before_l=read_litres(lost_before, "what was lost before", us=us),
        capacity_l=optional(capacity, read_litres, "the capacity", us),
        dry=dry,
        us=us,
    )
    show(answer, as_json, pictures)


@coolant_app.command(short_help="How long it may run with the belt off.")
def clock(
    displacement: Annotated[
        str, typer.Option("--displacement", metavar="AMOUNT", help='Of the engine: "1.6 L".')
    ],
    coolant: Annotated[
        str, typer.Option("--coolant", metavar="AMOUNT", help="In the whole system.")
    ],
    start: Annotated[
        str, typer.Option("--start", metavar="TEMP", help="Of the engine before it runs.")
    ],
    idle_rpm: Annotated[float, typer.Option("--idle-rpm", help="Idle speed.")] = 800.0,
    air: Annotated[str | None, typer.Option("--air", metavar="TEMP", help="Outside.")] = None,
    reading: Annotated[
        list[str] | None,
        typer.Option(
            "--reading", "-r", metavar="TIME=TEMP", help='Read while it ran: "1:30=60C"; repeat.'
        ),
    ] = None,
    countdown: Annotated[
        bool, typer.Option("--countdown", help="Count down to the limit in the terminal.")
    ] = False,
    us: Us = False,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Say how long an engine may idle with its pump standing still, and when to stop at once."""
    from beltside.casework.coolant_values import read_litres, read_minutes, read_temperature_c
    from beltside.casework.coolant_work import clock_answer

    pairs = []
    for text in reading or []:
        moment, sign, degrees = text.partition("=")
        if not sign:
            raise InputError(f'the reading is "{text}"', allowed="TIME=TEMP", instead="1:30=60C")
        pairs.append((60.0 * read_minutes(moment), read_temperature_c(degrees, us=us)))
    start_c = read_temperature_c(start, "the start temperature", us=us)
    answer = clock_answer(
        read_litres(displacement.replace("cc", "ml"), "the displacement"),
        coolant_l=read_litres(coolant, "the coolant", us=us),
        start_c=start_c,
        idle_rpm=idle_rpm,
        air_c=min(start_c, 20.0) if air is None else read_temperature_c(air, "the air", us=us),
        readings=pairs,
        us=us,
    )
    show(answer, as_json, pictures)
    if countdown and not as_json and not answer.data["stop_now"]:
        # The limit counts from the start of the engine; up to the last reading that time is gone.
        gone_s = max((moment_s for moment_s, _ in pairs), default=0.0)
        _count_down(float(answer.data["limit_s"]) - gone_s)


def _count_down(limit_s: float) -> None:
    """A line each ten seconds, each second at the end; Ctrl-C ends it."""
    import time

    end = time.monotonic() + limit_s
    last = -1
    while (left := end - time.monotonic()) > 0.0:
        whole = int(left)
        if whole != last and (whole % 10 == 0 or whole <= 10):
            write(f"{whole // 60}:{whole % 60:02d} left\n", sys.stdout)
            last = whole
        time.sleep(0.1)
    write("STOP THE ENGINE NOW\n", sys.stdout)


@coolant_app.command(short_help="How long draining takes.")
def drain(
    volume: Annotated[str, typer.Option("--volume", metavar="AMOUNT", help="To come out.")],
    height: Annotated[
        str, typer.Option("--height", metavar="LENGTH", help='Level above the nipple: "40 cm".')
    ],
    bore_mm: Annotated[float, typer.Option("--bore-mm", help="Of nipple and hose, inside.")],
    hose: Annotated[str, typer.Option("--hose", metavar="LENGTH", help="Its length.")] = "0",
    drop: Annotated[
        str, typer.Option("--drop", metavar="LENGTH", help="How far its end hangs down.")
    ] = "0",
    trapped_air: Annotated[
        str, typer.Option("--trapped-air", metavar="AMOUNT", help="Above the coolant.")
    ] = "0.3 L",
    us: Us = False,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Say how long a system drains through a nipple, with the cap on and off."""
    from beltside.casework.coolant_values import read_litres, read_metres
    from beltside.casework.coolant_work import drain_answer

    answer = drain_answer(
        read_litres(volume, "the volume", us=us),
        read_metres(height, "the height", us=us),
        bore_mm,
        hose_m=read_metres(hose, "the hose", us=us),
        hose_drop_m=read_metres(drop, "the drop", us=us),
        air_l=read_litres(trapped_air, "the trapped air", us=us),
        us=us,
    )
    show(answer, as_json, pictures)
