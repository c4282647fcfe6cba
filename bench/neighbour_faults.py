"""What accessories do wrong, but for their bearings. Figures: common practice, no source."""

from __future__ import annotations

import numpy as np

from neighbour_engine import cylinder_strikes
from neighbour_motion import (
    Maker,
    Motion,
    Plan,
    Source,
    gate,
    loaded,
    shaft_table,
    slower_less,
)
from neighbour_tools import (
    Array,
    bump_table,
    chance,
    log_uniform,
    looked_up,
    slow_random,
    strikes,
)


def alternator_electrical(maker: Maker) -> list[Source]:
    """A diode or a phase out: growl of the pole pairs and their harmonics, rising with the load."""
    rng, car = maker.rng, maker.car
    poles = car.wheel("alternator").count or 12
    pairs = poles // 2
    lines = {pairs * k: float(rng.uniform(0.2, 1.0) / k**0.5) for k in range(1, 8)}
    lines[6 * pairs] = lines[6 * pairs] + rng.uniform(0.2, 1.5)
    table, ratio = shaft_table(rng, lines, rng.uniform(0, 0.25)), car.ratio("alternator")
    grows, idle = rng.uniform(0.3, 1.2), rng.uniform(0.35, 0.8)

    def force(motion: Motion) -> Array:
        return looked_up(table, motion.turns * ratio) * motion.grow(grows)

    return [Source("alternator", force, belt=True, when=loaded("lights", 1.0, idle))]


def alternator_decoupler(maker: Maker) -> list[Source]:
    """A spent decoupler: clatter at the firings of idle, some grinding."""
    rng = maker.rng
    width, share = log_uniform(rng, 0.1e-3, 0.6e-3), rng.uniform(0.5, 1.0)
    late, twice = rng.uniform(0.0, 0.1), rng.uniform(0.01, 0.05)
    bed = maker.bed(log_uniform(rng, 1_000, 4_000))
    half = maker.car.ratio("alternator")

    def clatter(motion: Motion) -> Array:
        times, heights = cylinder_strikes(motion, late, 0.5)
        heights = heights * (motion.rng.random(len(times)) < share)
        times = times + 0.003 * motion.rng.normal(size=len(times)) * 0.3
        echo = times + twice * (1.0 + 0.2 * motion.rng.normal(size=len(times)))
        every, tall = np.concatenate([times, echo]), np.concatenate([heights, 0.5 * heights])
        return strikes(motion.samples, motion.rate_hz, every, tall, width)

    swell = bump_table(rng.random(2), np.ones(2), 0.08)

    def grind(motion: Motion) -> Array:
        return bed.cut(motion) * looked_up(swell, motion.turns * half)

    when = slower_less(rng.uniform(0.8, 2.5))
    return [
        Source("alternator", clatter, belt=True, when=when),
        Source("alternator", grind, rng.uniform(-18.0, -4.0), belt=True, when=when),
    ]


def tensioner_rattle(maker: Maker) -> list[Source]:
    """The arm swings against its stop: blows in step with the firings, with bounces, uneven."""
    rng = maker.rng
    width, share = log_uniform(rng, 0.15e-3, 1.2e-3), rng.uniform(0.25, 0.9)
    bounce, keeps = rng.uniform(0.006, 0.03), rng.uniform(0.3, 0.7)
    order = 0.5 if chance(rng, 0.4) else maker.car.cylinders / 2.0
    grip = rng.uniform(0.2, 1.5)

    def force(motion: Motion) -> Array:
        times = motion.times(order, 0.4, slip=0.05)
        swing = slow_random(motion.rng, motion.grid_s, 0.4)
        live = np.exp(0.5 * np.interp(times, motion.grid_s, swing))
        heights = live * motion.rng.lognormal(0.0, 0.5, len(times))
        heights = heights * (motion.rng.random(len(times)) < share)
        late = [times, times + bounce, times + 1.7 * bounce]
        tall = [heights, keeps * heights, keeps**2 * heights]
        return strikes(
            motion.samples, motion.rate_hz, np.concatenate(late), np.concatenate(tall), width
        )

    pull = rng.uniform(1.0, 1.8)

    def when(plan: Plan) -> float:
        return float(plan.raised**-grip * (pull if plan.load else 1.0))

    other = Source("block", force, rng.uniform(-16.0, -6.0), belt=True, when=when)
    return [Source("tensioner", force, belt=True, when=when), other]


def pump_impeller(maker: Maker) -> list[Source]:
    """Loose or eaten impeller: scraping once a turn, or the crackle of cavitation at its vanes."""
    rng, car = maker.rng, maker.car
    ratio, vanes = car.ratio("coolant-pump"), car.wheel("coolant-pump").count or 6
    if chance(rng, 0.5):
        rub = bump_table(rng.random(1), np.ones(1), rng.uniform(0.05, 0.2))
        bed = maker.bed(log_uniform(rng, 700, 3_500), rng.uniform(0.5, 1.5))

        def scrape(motion: Motion) -> Array:
            return bed.cut(motion) * looked_up(rub, motion.turns * ratio) * motion.grow(1.0)

        return [Source("coolant-pump", scrape, belt=True)]
    bed = maker.bed(log_uniform(rng, 900, 5_000))
    beat = 1.0 + rng.uniform(0.2, 0.9) * shaft_table(rng, {vanes: 1.0, 1: 0.4})
    many, width = rng.uniform(4, 25), log_uniform(rng, 0.05e-3, 0.2e-3)

    def cavitation(motion: Motion) -> Array:
        shaft = motion.turns * ratio
        rush = bed.cut(motion) * looked_up(beat, shaft)
        count = int(many * (shaft[-1] - shaft[0]))
        times = np.sort(motion.rng.uniform(0, motion.grid_s[-1], count))
        heights = motion.rng.lognormal(0.0, 0.8, count) * 60.0
        crackle = strikes(motion.samples, motion.rate_hz, times, heights, width)
        return (rush + crackle) * motion.grow(1.6)

    return [Source("coolant-pump", cavitation, belt=True)]


def pump_seal(maker: Maker) -> list[Source]:
    """A dry face seal sings: a high note that sways once a turn of the pump, and comes and goes."""
    rng, ratio = maker.rng, maker.car.ratio("coolant-pump")
    hertz, follows = log_uniform(rng, 1_200, 5_500), rng.uniform(0.0, 0.3)
    voice = shaft_table(rng, {1: 1.0, 2: rng.uniform(0.05, 0.5), 3: rng.uniform(0.0, 0.3)})
    sway = 1.0 + rng.uniform(0.2, 0.95) * shaft_table(rng, {1: 1.0, 2: 0.3})
    on, off, bends = rng.uniform(0.8, 5.0), rng.uniform(0.05, 1.0), rng.uniform(0.001, 0.01)

    def force(motion: Motion) -> Array:
        share = motion.rpm / motion.car.idle_rpm
        shaft = motion.crank * ratio
        pitch = hertz * share**follows * (1.0 + bends * np.sin(2 * np.pi * shaft))
        pitch *= 1.0 + 0.01 * slow_random(motion.rng, motion.grid_s, 0.3)
        tone = looked_up(voice, motion.on_samples(np.cumsum(pitch) * 0.001))
        return tone * looked_up(sway, motion.turns * ratio) * gate(motion, on, off)

    return [Source("coolant-pump", force, belt=True, when=slower_less(rng.uniform(-0.3, 0.8)))]


def compressor_clutch(maker: Maker) -> list[Source]:
    """Clutch that slips or chatters when driven: it clacks in and out and grinds between."""
    rng, ratio = maker.rng, maker.car.ratio("ac-compressor")
    bed = maker.bed(log_uniform(rng, 800, 4_000), rng.uniform(0.5, 2.0))
    rub = 0.3 + bump_table(rng.random(2), rng.uniform(0.3, 1.0, 2), rng.uniform(0.05, 0.2))
    cycle, width = rng.uniform(1.0, 4.0), log_uniform(rng, 0.2e-3, 1e-3)
    clack = log_uniform(rng, 30, 300)
    without = rng.uniform(0.3, 0.8) if chance(rng, 0.3) else 0.04

    def force(motion: Motion) -> Array:
        grind = bed.cut(motion) * looked_up(rub, motion.turns * ratio)
        if "ac" not in motion.plan.load:
            return grind * motion.grow(0.8)
        times = np.arange(motion.rng.uniform(0.2, cycle), motion.grid_s[-1], cycle / 2)
        chatter = np.concatenate([times, times + 0.03, times + 0.05])
        knocks = strikes(motion.samples, motion.rate_hz, chatter, clack * np.ones(1), width)
        chatters = motion.times(ratio, 0.3, slip=0.04)
        tall = 12.0 * motion.rng.lognormal(0.0, 0.6, len(chatters))
        knocks += strikes(motion.samples, motion.rate_hz, chatters, tall, width)
        return (grind * (0.4 + gate(motion, cycle / 2, cycle / 2)) + knocks) * motion.grow(0.8)

    return [Source("ac-compressor", force, belt=True, when=loaded("ac", 1.0, without))]


def compressor_rattle(maker: Maker) -> list[Source]:
    """Worn pistons or swash plate: uneven knocks at each piston while it pumps."""
    rng, car = maker.rng, maker.car
    ratio, pistons = car.ratio("ac-compressor"), car.wheel("ac-compressor").count or 6
    sizes = rng.lognormal(0.0, 0.7, pistons)
    width, uneven = log_uniform(rng, 0.15e-3, 1e-3), rng.uniform(0.2, 0.8)
    bed = maker.bed(log_uniform(rng, 400, 2_500))
    grows = rng.uniform(0.3, 1.2)

    def knocks(motion: Motion) -> Array:
        times = [motion.times(ratio, k / pistons, slip=0.006) for k in range(pistons)]
        tall = [s * np.ones(len(t)) for s, t in zip(sizes, times, strict=True)]
        when, heights = np.concatenate(times), np.concatenate(tall)
        heights = heights * np.exp(uneven * motion.rng.normal(size=len(when)))
        heights = heights * motion.grown_at(when, grows)
        return strikes(motion.samples, motion.rate_hz, when, heights, width)

    swell = bump_table(np.arange(pistons) / pistons, sizes, 0.2 / pistons)

    def growl(motion: Motion) -> Array:
        return bed.cut(motion) * looked_up(swell, motion.turns * ratio) * motion.grow(grows)

    when = loaded("ac", 1.0, 0.04)
    return [
        Source("ac-compressor", knocks, belt=True, when=when),
        Source("ac-compressor", growl, rng.uniform(-15.0, -3.0), belt=True, when=when),
    ]


def steering_whine(maker: Maker) -> list[Source]:
    """Whine at the vanes, far louder under pressure; with air in the oil it moans and hisses."""
    rng, car = maker.rng, maker.car
    ratio, vanes = car.ratio("steering-pump"), car.wheel("steering-pump").count or 10
    lines = {vanes * k: float(rng.uniform(0.2, 1.0) / k**0.4) for k in range(1, 6)}
    table = shaft_table(rng, lines, rng.uniform(0.0, 0.4))
    bed = maker.bed(log_uniform(rng, 600, 3_000))
    air = rng.uniform(0.5, 1.5) if chance(rng, 0.4) else rng.uniform(0.0, 0.2)
    without, grows = rng.uniform(0.15, 0.6), rng.uniform(0.3, 1.2)

    def force(motion: Motion) -> Array:
        whine = looked_up(table, motion.turns * ratio)
        sway = 1.0 + 0.4 * np.tanh(slow_random(motion.rng, motion.grid_s, 0.25))
        hiss = air * bed.cut(motion) * (1.0 + 0.5 * whine)
        return (whine + hiss) * motion.on_samples(sway).astype(np.float32) * motion.grow(grows)

    return [Source("steering-pump", force, belt=True, when=loaded("steering", 1.0, without))]


def fan_clutch(maker: Maker) -> list[Source]:
    """A viscous clutch that is stuck: the fan roars with the blades' tone, more with speed."""
    rng, car = maker.rng, maker.car
    ratio, blades = car.ratio("fan"), car.wheel("fan").count or 9
    lines = {blades * k: float(rng.uniform(0.3, 1.0) / k) for k in (1, 2, 3)}
    table = shaft_table(rng, {**lines, 1: 0.2}, rng.uniform(0.0, 0.4))
    bed = maker.bed(log_uniform(rng, 250, 1_200), 0.35)
    hiss, grows = rng.uniform(0.8, 3.0), rng.uniform(1.6, 2.6)

    def force(motion: Motion) -> Array:
        wave = looked_up(table, motion.turns * ratio)
        return (wave + hiss * bed.cut(motion) * (1.0 + 0.2 * wave)) * motion.grow(grows)

    return [Source("fan", force, belt=True)]
