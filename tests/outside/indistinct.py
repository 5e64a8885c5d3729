"""How far a capture of several tags is from one tag alone that sends a number nobody sent.

For captures of `adversary.py` in which the program reads such a number: the noise-free ripple that was sent, less that of one tag with the
false number whose strength, angle, start, tank and mean are fitted to it, in standard deviations of the noise. This is what a receiver
has to go on that knows everything but which of the two was sent: it errs in Q(d/2) of such captures. One that has to notice that
something is left over, not knowing what, looks at all values of a folded telegram at once: noise leaves their sum with a
standard deviation of sqrt(2 n), n = 2 * 4096 where all are kept and some 700 in the band of a tag, so that d^2 has to be
hundreds before anything shows.

Run: python tests/outside/indistinct.py [seed:capture ...]; without any, those that `check_false_numbers.py` knows to be still false.
"""

import sys
from functools import reduce

import numpy as np
from scipy.optimize import minimize
from scipy.stats import norm

import adversary
import check_false_numbers
import fdxb


def drawn(seed, trial):
    """Bench and tags of a capture, as they are drawn on the way to its samples."""
    seen = {}

    def noticing(bench, tags=(), rng=None):
        seen.update(bench=bench, tags=tags)
        return fdxb.ripple_capture(bench, tags, rng)

    adversary.ripple_capture = noticing
    adversary.draw(seed, trial)
    adversary.ripple_capture = fdxb.ripple_capture
    return seen.get("bench"), seen.get("tags")


def distance(bench, tags, false):
    """Least distance in standard deviations of noise, and where it lies."""
    count = int(round(bench.rate_hz * bench.seconds))
    cycles = bench.field_hz * np.arange(count) / bench.rate_hz
    sent = sum(tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * tag.states(cycles + tag.start_cycles) for tag in tags)
    sent = sent - sent.mean()
    first = tags[0].states(cycles + tags[0].start_cycles)
    sigma = fdxb.sigma_for(bench, bench.amplitude * tags[0].depth * np.sqrt(np.mean(np.abs(first) ** 2)))

    def left(place):
        start, log_bandwidth, detune_khz = place
        bandwidth_hz = 10 ** min(log_bandwidth, 5.5)
        tag = fdxb.Tag(number=false, bandwidth_hz=bandwidth_hz, detune_hz=1e3 * detune_khz)
        wave = tag.states(cycles + start)
        wave = wave - wave.mean()
        amplitude = np.vdot(wave, sent) / np.vdot(wave, wave)
        return np.sum(np.abs(sent - amplitude * wave) ** 2)

    starts = [tag.start_cycles for tag in tags]
    best = min(
        (minimize(left, (start, log_bandwidth, 0.0), method="Nelder-Mead", options={"xatol": 1e-3, "fatol": 1e-9, "maxfev": 250}) for start in {np.mean(starts), min(starts), max(starts)} for log_bandwidth in (3.8, 4.8)),
        key=lambda found: found.fun,
    )
    return bench.amplitude * np.sqrt(best.fun / 2) / sigma, best.x


def main():
    asked = [tuple(map(int, text.split(":"))) for text in sys.argv[1:]] or sorted(check_false_numbers.STILL_FALSE)
    for seed, trial in asked:
        bench, tags = drawn(seed, trial)
        if bench is None or bench.pulses:
            print(f"{seed}:{trial} is in pulses: not worked out")
            continue
        false = adversary.number_of(reduce(lambda code, tag: code ^ tag.number.code, tags, 0))
        rows = check_false_numbers.judge(seed, [trial])
        read = [reading["id"] for *_, line in rows for reading in line["readings"]]
        d, (start, log_bandwidth, detune_khz) = distance(bench, tags, false)
        print(
            f"{seed}:{trial} read {read}, the sum of those sent is {false.id}: {d:.1f} standard deviations of the noise from it alone "
            f"(start {start - tags[0].start_cycles:+.2f} cycles, tank {10**log_bandwidth:.0f} Hz {1e3 * detune_khz:+.0f} Hz); "
            f"whoever knows both errs in {norm.sf(d / 2):.1e} of such captures"
        )


if __name__ == "__main__":
    main()
