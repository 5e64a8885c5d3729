"""A sound card as a source, and the tone for the ear: a program built with `--features sound`, and sound cards without hardware.

A sound server (PulseAudio) of this script's own makes two loopbacks in real time: what is played into one is what the program hears, and
what the program plays into the other is recorded here. ALSA's `pulse` plugin shows them to the program as devices. The captures are those
of `passes.py`. The pitch is measured from the zero crossings of what was played, against the margins that the program told.
"""

import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from fdxb import Number, Tag
from passes import BLOCK_S, Pass, Record
from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
RATE_HZ = 384_000
# Two tags, one after the other, the second 10 dB weaker.
FIRST, SECOND = Pass(Tag(Number(national=4711), depth=0.01, angle_deg=40.0), 1.0, 3.0), Pass(Tag(Number(national=815), depth=0.0032, angle_deg=70.0), 3.0, 5.2)
RECORD = Record(RATE_HZ, 5.5, passes=(FIRST, SECOND), ebn0_db=12.0, full=1.0)
SENT = ["999000000004711", "999000000000815"]
PLAYED_HZ = 48_000
# From `decode --help`.
AT_THRESHOLD_HZ, DB_TO_OCTAVE = 440.0, 12.0
BUFFER_S = 0.05  # what the loopbacks hold
CONFIGURATION = """
pcm.bench {{
  type pulse
  device "ear.monitor"
  server "{server}"
  hint {{ show on description "a bench in a loop" }}
}}
pcm.!default {{
  type pulse
  device "mouth"
  server "{server}"
}}
"""
# A device that hands over samples as fast as they are asked for.
ENDLESS = """
</usr/share/alsa/alsa.conf>
pcm.bench { type null hint { show on description "a bench without end" } }
"""


def stereo():
    """What the sound card hears, block by block: nothing on its left channel, the field on its right one."""
    for block in RECORD.blocks():
        both = np.zeros((block.size, 2), dtype="<f4")
        both[:, 1] = np.clip(block / 1.25, -1, 1)
        yield both.tobytes()


class Bench:
    """The sound server with its two loopbacks."""

    def __init__(self, folder):
        server = f"unix:{folder}/native"
        configuration = folder / "asound.conf"
        configuration.write_text(CONFIGURATION.format(server=server))
        own = {"HOME": str(folder), "XDG_RUNTIME_DIR": str(folder), "PULSE_RUNTIME_PATH": str(folder / "run"), "PULSE_SERVER": server}
        self.environment = {**os.environ, **own, "ALSA_CONFIG_PATH": str(configuration)}
        words = ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--disable-shm=yes", "--realtime=no"]
        for module in (f"module-native-protocol-unix auth-anonymous=1 socket={folder}/native",
                       f"module-null-sink sink_name=ear rate={RATE_HZ} format=float32le channels=2",
                       f"module-null-sink sink_name=mouth rate={PLAYED_HZ} format=s16le channels=1"):
            words += ["-L", module]
        serving = {key: value for key, value in self.environment.items() if key != "PULSE_SERVER"}
        self.server = subprocess.Popen(words, env=serving, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(100):
            if subprocess.run(["pactl", "info"], env=self.environment, capture_output=True).returncode == 0:
                break
            time.sleep(0.1)
        self.begun = None
        self.played = []

    def end(self):
        self.server.terminate()
        self.server.wait()

    def feed(self):
        """Plays the record into the loopback, in real time; `begun` is when its first sample is heard, give or take `BUFFER_S`."""
        play = ["pacat", "--device=ear", f"--rate={RATE_HZ}", "--format=float32le", "--channels=2", f"--latency-msec={1000 * BUFFER_S:.0f}"]
        playing = subprocess.Popen(play, env=self.environment, stdin=subprocess.PIPE)
        blocks = list(stereo())
        self.begun = time.monotonic()
        for block in blocks:
            playing.stdin.write(block)
        playing.stdin.close()
        playing.wait()

    def listen(self, stop):
        """Records what is played, with the moments at which it came."""
        record = ["parec", "--device=mouth.monitor", f"--rate={PLAYED_HZ}", "--format=s16le", "--channels=1", f"--latency-msec={1000 * BUFFER_S:.0f}"]
        recording = subprocess.Popen(record, env=self.environment, stdout=subprocess.PIPE)
        while not stop.is_set():
            self.played.append((time.monotonic(), recording.stdout.read(960)))
        recording.terminate()


def follow(program, bench, words, seconds):
    """The events that were told, each with the moment it came, and how the program ended after Ctrl-C."""
    stop, events = threading.Event(), []
    listener = threading.Thread(target=bench.listen, args=(stop,))
    listener.start()
    running = subprocess.Popen([program, "decode", "--json", *words], env=bench.environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    time.sleep(1)  # for it to open its devices
    threading.Thread(target=bench.feed).start()
    threading.Timer(seconds, running.send_signal, [signal.SIGINT]).start()
    for line in running.stdout:
        events.append((time.monotonic(), json.loads(line)))
    errors = running.stderr.read()
    code = running.wait(30)
    stop.set()
    listener.join()
    return events, code, errors


def pitch_hz(samples):
    """From the median time between two rises through 0, each placed by a straight line: silence in between does not count."""
    rises = np.flatnonzero((samples[:-1] < 0) & (samples[1:] >= 0))
    places = rises - samples[rises] / (samples[rises + 1] - samples[rises])
    return PLAYED_HZ / np.median(np.diff(places))


def heard(checks, program, folder, bench):
    """Numbers, channel and tone of a record in real time."""
    events, code, errors = follow(program, bench, ["--device", "a bench in a loop", "--rate", str(RATE_HZ), "--sound"], 6.0)
    kinds = [event["event"] for _, event in events]
    checks.that(errors == "", f"said on standard error: {errors}")
    checks.that(code == 0, f"exit code {code}, 0 after a number")
    checks.that(kinds and kinds[-1] == "summary", f"Ctrl-C ends with a summary: {kinds[-3:]}")
    read = [(when, event) for when, event in events if event["event"] == "number-read"]
    checks.that(list(dict.fromkeys(event["id"] for _, event in read)) == SENT, f"numbers {[event['id'] for _, event in read]}, sent {SENT}")
    if not read:
        return
    # In the stream's own time, as the loopback's is not known; `check_live.py` holds the time from sample to line to half a second.
    there = next(event["time_s"] for _, event in events if event["event"] == "field-there")
    late = read[0][1]["time_s"] - there - FIRST.from_s
    checks.that(late <= 0.5, f"the number came {late:.2f} s after the tag; 0.5 s at most")
    checks.that(any("\"2\"" in event["text"] for _, event in events if event["event"] == "note"), "the channel with the field is named")

    # The margin is that of the last second: the tone holds still in the second one that a tag is there.
    for passing in (FIRST, SECOND):
        begin, end = (bench.begun + passing.from_s + seconds for seconds in (1.3, 1.9))
        told = [event["margin_db"] for when, event in events if event["event"] == "state" and begin - 0.3 <= when < end]
        tone = np.concatenate([np.frombuffer(data, dtype="<i2") for when, data in bench.played if begin <= when < end]).astype(float)
        # Where the loopback stumbles on a busy machine, a glance may miss the tag.
        told = [margin_db for margin_db in told if margin_db is not None]
        if not checks.that(len(told) >= 3 and min(told) > 0, f"margins {told} while a tag is there"):
            continue
        low, high = (AT_THRESHOLD_HZ * 2 ** (margin_db / DB_TO_OCTAVE) for margin_db in (min(told), max(told)))
        pitch = pitch_hz(tone)
        # 27 samples to a cycle at the least: a straight line places a rise within a hundredth of one.
        checks.that(0.99 * low <= pitch <= 1.01 * high, f"margins of {min(told):.1f} to {max(told):.1f} dB sound as {pitch:.0f} Hz, not {low:.0f} to {high:.0f}")
        print(f"{np.mean(told):.1f} dB to spare sound as {pitch:.0f} Hz")
    before = np.concatenate([np.frombuffer(data, dtype="<i2") for when, data in bench.played if when < bench.begun])
    checks.that(before.size > 0 and not before.any(), "silent before anything is known")
    print(f"first number {late:.2f} s after the tag came")


def plainly(checks, program, folder, bench):
    """What is said where there is nothing to hear."""

    def said(words, environment=bench.environment):
        done = subprocess.run([program, "decode", *words], env=environment, capture_output=True, text=True, timeout=60)
        return done.returncode, done.stdout, done.stderr

    code, out, errors = said(["--devices"])
    checks.that(code == 0 and re.search(r"^alsa:bench  up to [0-9]+ samples a second  a bench in a loop$", out, re.M), f"--devices: {code} {out!r} {errors!r}")
    for words, phrase in ((["--device", "no such thing"], 'there is no sound input "no such thing"; --devices lists'),
                          (["--device", "alsa:bench", "--raw", "i16"], "cannot be used with"),
                          (["--device", "alsa:bench", "--rate", "3G"], "it offers no"),
                          (["--sound", "a.wav"], "--sound goes with --follow or --device"),
                          ([], "required")):
        code, out, errors = said(words)
        checks.that(code == 2 and phrase in errors and out == "", f"{words}: {code} {errors!r}")
    mute = folder / "mute.conf"
    mute.write_text("")
    silent = {**os.environ, "ALSA_CONFIG_PATH": str(mute)}
    for words in (["--devices"], ["--device", "default"], ["--device", "alsa:bench"]):
        code, out, errors = said(words, silent)
        checks.that(code == 2 and errors.count("\n") == 1 and "sound input" in errors, f"without a device, {words}: {code} {errors!r}")


def overrun(checks, program, folder, bench):
    """A device that hands over samples faster than any program could look at them: memory stays, and the loss is said."""
    configuration = folder / "endless.conf"
    configuration.write_text(ENDLESS)
    endless = {**os.environ, "ALSA_CONFIG_PATH": str(configuration)}
    running = subprocess.Popen([program, "decode", "--device", "alsa:bench", "--rate", str(RATE_HZ), "--json"], env=endless, stdout=subprocess.PIPE, text=True)
    time.sleep(4)
    peak_kib = int(next(line for line in open(f"/proc/{running.pid}/status") if line.startswith("VmHWM")).split()[1])
    running.send_signal(signal.SIGINT)
    out = running.communicate(timeout=60)[0]
    notes = [event["text"] for event in map(json.loads, out.splitlines()) if event["event"] == "note"]
    checks.that(any("Samples were lost" in note for note in notes), f"nothing said of lost samples: {notes}")
    checks.that(peak_kib < 200 * 1024, f"{peak_kib / 1024:.0f} MiB; 200 at most")


def main():
    checks = Checks()
    program = str(Path(PROGRAM).resolve())
    listed = subprocess.run([program, "decode", "--devices"], capture_output=True, text=True)
    if not checks.that("built without sound" not in listed.stderr, f"{PROGRAM}: {listed.stderr.strip()}; `make_reader.py --sound` builds it with it"):
        return checks.end()
    with tempfile.TemporaryDirectory(prefix="ripple-") as folder:
        bench = Bench(Path(folder))
        for check in (plainly, heard, overrun):
            check(checks, program, Path(folder), bench)
        bench.end()
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())
