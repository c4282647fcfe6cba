"""A healthy engine and its healthy accessories, as forces on housings.

Levels are A-weighted at the front at idle against the block's own noise (0 dB): common practice,
no source. Some accessories are loud by nature.
"""

from __future__ import annotations

import numpy as np

from neighbour_motion import Maker, Motion, Plan, Source, loaded, shaft_table
from neighbour_tools import TABLE, Array, bump_table, chance, log_uniform, looked_up, strikes


def cylinder_strikes(
    motion: Motion, shift: float = 0.0, scatter: float | None = None
) -> tuple[Array, Array]:
    """Times and heights of the firings, `shift` cycles late; heights as the cylinders push."""
    car, rng = motion.car, motion.rng
    spread = car.scatter if scatter is None else scatter
    times, heights = [], []
    for fire, strength in zip(car.fires, car.strengths, strict=True):
        when = motion.times(0.5, fire + shift, slip=0.002)
        times.append(when)
        heights.append(strength * np.maximum(1.0 + spread * rng.normal(size=len(when)), 0.05))
    return np.concatenate(times), np.concatenate(heights)


def _block(maker: Maker) -> list[Source]:
    rng, car = maker.rng, maker.car
    width = log_uniform(rng, 0.12e-3, 0.5e-3) if car.diesel else log_uniform(rng, 0.5e-3, 2.5e-3)
    grows = rng.uniform(0.4, 1.2)

    def combustion(motion: Motion) -> Array:
        times, heights = cylinder_strikes(motion)
        heights = heights * motion.grown_at(times, grows)
        return strikes(motion.samples, motion.rate_hz, times, heights, width, sharp=car.diesel)

    bed = maker.bed(log_uniform(rng, 500, 2_500))
    depth = rng.uniform(0.1, 1.0)
    table = 1.0 + depth * bump_table(
        (np.array(car.fires) + rng.uniform(0, 0.1)) % 1.0,
        np.array(car.strengths),
        rng.uniform(0.2, 0.45) / car.cylinders,
    )

    def rumble(motion: Motion) -> Array:
        return bed.cut(motion) * looked_up(table, motion.turns / 2.0) * motion.grow(1.1)

    out = [
        Source("block", combustion, 0.0 + 3.0 * car.diesel),
        Source("block", rumble, rng.uniform(-8.0, 0.0)),
    ]
    if car.diesel or chance(rng, 0.2):
        late, wide = rng.uniform(0.01, 0.04), log_uniform(rng, 0.2e-3, 1e-3)

        def slap(motion: Motion) -> Array:
            times, heights = cylinder_strikes(motion, late, 0.5)
            return strikes(motion.samples, motion.rate_hz, times, heights, wide)

        out.append(Source("block", slap, rng.uniform(-14.0, -3.0)))
    return out


def _head(maker: Maker) -> list[Source]:
    rng, car = maker.rng, maker.car
    per = int(rng.choice([2, 2, 4]))
    places = [(f + rng.uniform(0, 1)) % 1.0 for f in car.fires for _ in range(per)]
    sizes = rng.lognormal(0.0, rng.uniform(0.1, 0.6), len(places))
    width, uneven = log_uniform(rng, 0.08e-3, 0.35e-3), rng.uniform(0.1, 0.5)

    def valves(motion: Motion) -> Array:
        out = np.zeros(motion.samples, np.float32)
        times = [motion.times(0.5, place, slip=0.002) for place in places]
        heights = [
            size * np.exp(uneven * motion.rng.normal(size=len(when)))
            for size, when in zip(sizes, times, strict=True)
        ]
        when = np.concatenate(times)
        height = np.concatenate(heights) * motion.grown_at(when, 0.9)
        out += strikes(motion.samples, motion.rate_hz, when, height, width)
        return out

    sources = [Source("head", valves, rng.uniform(-14.0, -1.0))]
    direct = car.diesel or chance(rng, 0.35)
    sharp = log_uniform(rng, 0.04e-3, 0.12e-3)
    pilots = int(rng.integers(1, 4)) if direct else 1

    def injectors(motion: Motion) -> Array:
        out = np.zeros(motion.samples, np.float32)
        for pilot in range(pilots):
            times, heights = cylinder_strikes(motion, -0.03 - 0.012 * pilot, 0.1)
            out += strikes(motion.samples, motion.rate_hz, times, heights, sharp)
        return out

    sources.append(
        Source("head", injectors, rng.uniform(-10, 0) if direct else rng.uniform(-20, -6))
    )
    if direct:
        lobes, wide = float(rng.choice([1.0, 1.5, 2.0])), log_uniform(rng, 0.1e-3, 0.5e-3)

        def fuel_pump(motion: Motion) -> Array:
            times = motion.times(lobes, 0.3, slip=0.004)
            heights = 1.0 + 0.15 * motion.rng.normal(size=len(times))
            return strikes(motion.samples, motion.rate_hz, times, heights, wide)

        sources.append(Source("head", fuel_pump, rng.uniform(-16.0, -4.0)))
    return sources


def _gas(maker: Maker) -> list[Source]:
    rng, car = maker.rng, maker.car

    def wave(slope: float) -> Array:
        """One cycle of pressure: a bump a cylinder, harmonics falling by `slope` dB an octave."""
        bumps = bump_table(np.array(car.fires), np.array(car.strengths), 0.03)
        spectrum = np.fft.rfft(bumps)
        harmonic = np.maximum(np.arange(len(spectrum)), 1.0)
        spectrum *= harmonic ** (-slope / 6.0) * np.exp(0.7 * rng.normal(size=len(spectrum)))
        spectrum[0] = 0.0
        spectrum[400:] = 0.0
        out = np.fft.irfft(spectrum, TABLE)
        return np.asarray(out / np.std(out)).astype(np.float32)

    out_wave, in_wave = wave(rng.uniform(0, 6)), wave(rng.uniform(0, 5))
    bed = maker.bed(log_uniform(rng, 700, 4_000), 0.4)
    gust = rng.uniform(0.1, 0.6)

    def exhaust(motion: Motion) -> Array:
        return looked_up(out_wave, motion.turns / 2.0) * motion.grow(0.8)

    def intake(motion: Motion) -> Array:
        pulse = looked_up(in_wave, motion.turns / 2.0)
        return (0.7 * pulse + bed.cut(motion) * (1.0 + gust * pulse)) * motion.grow(1.4)

    return [
        Source("tailpipe", exhaust, rng.uniform(-18.0, -3.0)),
        Source("intake", intake, rng.uniform(-16.0, -3.0)),
    ]


def _timing(maker: Maker) -> list[Source]:
    rng, car = maker.rng, maker.car
    teeth = car.sprocket_teeth
    table = shaft_table(rng, {teeth: 1.0, 2 * teeth: rng.uniform(0, 0.6)}, rng.uniform(0, 0.4))
    bed = maker.bed(log_uniform(rng, 900, 4_000))
    tonal = rng.uniform(0.0, 1.0)

    def mesh(motion: Motion) -> Array:
        noise = bed.cut(motion) * (1.0 + 0.3 * looked_up(table, motion.turns / teeth))
        return (tonal * looked_up(table, motion.turns) + 0.7 * noise) * motion.grow(1.2)

    return [Source("timing", mesh, rng.uniform(-22.0, -7.0))]


def _electric_fan(maker: Maker) -> list[Source]:
    rng = maker.rng
    hertz, blades = rng.uniform(25, 50), int(rng.choice([5, 7, 9, 11]))
    table = shaft_table(rng, {1: 0.3, blades: 0.6, 2 * blades: 0.3}, 0.2)
    bed = maker.bed(log_uniform(rng, 400, 1_800), 0.4)
    always = chance(rng, 0.12)

    def fan(motion: Motion) -> Array:
        turns = motion.on_samples(motion.grid_s * hertz)
        return 0.5 * looked_up(table, turns) + bed.cut(motion)

    def when(plan: Plan) -> float:
        return 1.0 if always or "ac" in plan.load else 0.0

    return [Source("bay", fan, rng.uniform(-12.0, 0.0), when=when)]


def accessory_wave(maker: Maker, part: str) -> dict[int, float]:
    """Lines of a healthy part by its poles with slots and rectifier, vanes, pistons or blades."""
    rng = maker.rng
    count = maker.car.wheel(part).count
    if count is None:
        return {2: 0.2}
    if part == "alternator":
        half = rng.uniform(0, 0.3)
        return {count // 2: half, count: rng.uniform(0.1, 0.5), 3 * count: rng.uniform(0.3, 1.0)}
    return {count: 1.0, 2 * count: rng.uniform(0.1, 0.8), 3 * count: rng.uniform(0, 0.4)}


# Level over the block [dB], share of noise, growth with speed, and the load that lifts it.
NATURE: dict[str, tuple[float, float, float, str, float]] = {
    "alternator": (-15.0, 0.7, 1.6, "lights", 2.0),
    "coolant-pump": (-19.0, 1.0, 1.4, "", 1.0),
    "ac-compressor": (-26.0, 0.5, 1.2, "ac", 5.0),
    "steering-pump": (-16.0, 0.4, 1.3, "steering", 3.0),
    "fan": (-10.0, 1.5, 2.3, "", 1.0),
    "idler": (-27.0, 2.0, 1.2, "", 1.0),
    "idler-2": (-27.0, 2.0, 1.2, "", 1.0),
    "tensioner": (-27.0, 2.0, 1.2, "", 1.0),
}


def _accessory(maker: Maker, part: str) -> Source:
    rng, car = maker.rng, maker.car
    level, hiss, grows, load, factor = NATURE[part]
    table = shaft_table(
        rng, accessory_wave(maker, part), rng.uniform(0.0, 0.5), rng.uniform(0, 0.4)
    )
    bed = maker.bed(log_uniform(rng, 500, 4_000) * (0.4 if part == "fan" else 1.0), 0.5)
    share, ratio = hiss * rng.uniform(0.4, 1.6), car.ratio(part)
    loud = rng.uniform(6.0, 13.0) if chance(rng, 0.12) else 0.0

    def force(motion: Motion) -> Array:
        wave = looked_up(table, motion.turns * ratio)
        return (wave + share * bed.cut(motion)) * motion.grow(grows)

    stands = level + loud + rng.normal(0.0, 4.5)
    return Source(part, force, stands, belt=True, when=loaded(load, factor))


def _belt(maker: Maker) -> Source:
    rng, car = maker.rng, maker.car
    bed = maker.bed(log_uniform(rng, 500, 3_000), 0.5)
    uneven = 1.0 + rng.uniform(0, 0.4) * shaft_table(rng, {1: 1.0, 2: 0.5, 3: 0.4})
    order = car.belt_order

    def hum(motion: Motion) -> Array:
        return bed.cut(motion) * looked_up(uneven, motion.turns * order) * motion.grow(1.4)

    return Source("belt", hum, rng.uniform(-26.0, -9.0), belt=True)


def healthy_sources(maker: Maker) -> list[Source]:
    """Everything that sounds on a healthy engine."""
    return [
        *_block(maker),
        *_head(maker),
        *_gas(maker),
        *_timing(maker),
        *_electric_fan(maker),
        *(_accessory(maker, part) for part in maker.car.parts if part != "crank"),
        _belt(maker),
    ]
