"""Recordings made and judged by scipy.signal, and measured by `tubewright hear`.

    python reference/sound.py target/release/tubewright

Every recording is made here by numpy and scipy, is measured by the command as any recording is, and the figures are held
against what scipy's own filters, spectra and resamplers say of the same samples. Nothing of the project's code is used
but the command, and `tubewright signal` for the signals that are played.
"""

import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
from scipy import signal
from scipy.io import wavfile

wrong = []


def holds(what, error, within):
    """Prints a figure's error, and remembers one that is too large."""
    good = abs(error) <= within
    print(f"  {what}: {error:+.4f} (accepted {within})")
    if not good:
        wrong.append(what)


def command(program, *arguments):
    """Runs the command and gives what it prints."""
    ran = subprocess.run([program, *arguments, "--json"], capture_output=True, text=True, check=False)
    if ran.returncode != 0:
        raise SystemExit(f"{arguments}: status {ran.returncode}\n{ran.stdout}{ran.stderr}")
    return json.loads(ran.stdout)


def write(folder, name, samples, rate):
    """A WAV file of 32-bit floating samples."""
    path = folder / name
    wavfile.write(path, rate, samples.astype(np.float32))
    return str(path)


def played(program, folder, name, rate):
    """A test signal of the command, full scale 1."""
    path = folder / f"{name}-{rate}.wav"
    if not path.exists():
        command(program, "signal", name, "-o", str(path), "--rate", str(rate))
    found, samples = wavfile.read(path)
    assert found == rate
    # 24 bits come in the upper part of 32.
    return samples.astype(float) / 2.0**31


def response(program, folder):
    """A sweep through scipy's filters: response to a tenth of a decibel."""
    for rate in (44100, 48000, 96000):
        sections = np.vstack(
            [
                signal.butter(2, 70, "highpass", fs=rate, output="sos"),
                signal.butter(3, 7000, "lowpass", fs=rate, output="sos"),
                signal.cheby1(2, 0.8, [300, 1800], "bandstop", fs=rate, output="sos"),
            ]
        )
        sweep = played(program, folder, "sweep", rate)
        noise = 10 ** (-75 / 20) * np.random.default_rng(rate).standard_normal(sweep.size)
        path = write(folder, "swept.wav", 0.5 * signal.sosfilt(sections, sweep) + noise, rate)
        points = command(program, "hear", path, "--played", "sweep")["response"]["points"]
        hertz = np.array([p["hz"] for p in points])
        _, gain = signal.sosfreqz(sections, worN=hertz, fs=rate)
        want = 20 * np.log10(0.5 * 10 ** (-1 / 20) * np.abs(gain))
        error = np.array([p["db"] for p in points]) - want
        # Where the filter lets less than -40 dB past, noise decides; its own uncertainty is held instead.
        doubt = np.array([p["uncertainty_db"] for p in points])
        seen = 20 * np.log10(np.abs(gain)) > -40
        holds(f"response at {rate} Hz, dB", np.max(np.abs(error[seen])), 0.1)
        holds(f"where little is left at {rate} Hz, in uncertainties", np.max(np.abs(error) / (doubt + 0.05)), 2.0)


def resampled(program, folder):
    """The sweep at another rate by scipy's polyphase resampler: flat."""
    sweep = signal.resample_poly(played(program, folder, "sweep", 48000), 147, 160)
    path = write(folder, "resampled.wav", 0.7 * sweep, 44100)
    points = command(program, "hear", path, "--played", "sweep")["response"]["points"]
    error = [p["db"] - 20 * np.log10(0.7 * 10 ** (-1 / 20)) for p in points]
    holds("a sweep resampled from 48 to 44.1 kHz, dB", np.max(np.abs(error)), 0.1)


def noise(program, folder):
    """Coloured noise: plain and A-weighted, against Welch's method and the poles of IEC 61672-1."""
    rate = 48000
    random = np.random.default_rng(5)
    taps = signal.firwin2(401, [0, 200, 2000, 24000], [1, 1, 0.2, 0.05], fs=rate)
    x = 0.02 * signal.lfilter(taps, 1, random.standard_normal(20 * rate))
    hum = command(program, "hear", write(folder, "noise.wav", x, rate))["hum"]
    hertz, density = signal.welch(x, rate, nperseg=16384)
    band = (hertz >= 20) & (hertz <= 20000)
    step = hertz[1]
    # Zeros, poles and 1 kHz of the standard (from memory, not seen).
    poles = -2 * np.pi * np.array([20.598997, 20.598997, 107.65265, 737.86223, 12194.217, 12194.217])
    _, weight = signal.freqs_zpk(np.zeros(4), poles, 1, worN=2 * np.pi * np.append(hertz, 1000))
    weight = np.abs(weight[:-1] / weight[-1]) ** 2
    for name, power in (("noise_db", density), ("noise_a_db", density * weight)):
        want = 10 * np.log10(2 * np.sum(power[band]) * step)
        holds(f"{name}", hum[name] - want, 0.2)


def lines(program, folder):
    """Hum lines against a flat-topped window's spectrum."""
    rate = 48000
    time = np.arange(20 * rate) / rate
    x = 1e-4 * np.random.default_rng(6).standard_normal(time.size)
    for order, db in ((1, -50), (2, -41), (3, -62), (4, -55), (6, -66)):
        x += 10 ** (db / 20) * np.sin(2 * np.pi * 50.04 * order * time + order)
    hertz, power = signal.periodogram(x, rate, window="flattop", scaling="spectrum")
    found = command(program, "hear", write(folder, "hum.wav", x, rate))["hum"]
    holds("mains frequency, Hz", found["mains_hz"] - 50.04, 0.002)
    for line in found["lines"]:
        near = np.abs(hertz - line["hz"]) < 2
        want = 10 * np.log10(2 * np.max(power[near]))
        holds(f"hum line {line['order']}, dB", line["db"] - want, 0.2)


def tremolo(program, folder):
    """A tone that swings as a sine, a triangle and a softened square; the swing read by scipy's Hilbert transform.

    A triangle reads low: the last of its sharp peak lies beyond the harmonics that count.
    """
    rate = 48000
    time = np.arange(12 * rate) / rate
    tone = np.sin(2 * np.pi * 440 * time)
    turn = 2 * np.pi * 4.63 * time
    # A square whose edges take a hundredth of a second.
    soft = np.convolve(signal.square(turn), np.ones(480) / 480, "same")
    for name, shape, within in (("sine", np.sin(turn), 1.0), ("triangle", signal.sawtooth(turn, 0.5), 4.0), ("square", soft, 1.0)):
        x = 0.3 * (1 + 0.6 * shape) * tone
        found = command(program, "hear", write(folder, "swing.wav", x, rate), "--played", "tone")["tremolo"]
        swing = np.abs(signal.hilbert(x))[rate:-rate]
        high, low = np.percentile(swing, 99.5), np.percentile(swing, 0.5)
        holds(f"tremolo, {name}: rate, %", 100 * (found["hz"] / 4.63 - 1), 0.2)
        holds(f"tremolo, {name}: depth, %", found["depth_percent"] - 100 * (high - low) / (high + low), within)


def distortion(program, folder):
    """Steps through a curve; harmonics by least squares on the samples."""
    rate = 48000
    curve = lambda x: np.tanh(1.2 * x + 0.15) - np.tanh(0.15)
    x = curve(played(program, folder, "steps", rate))
    steps = command(program, "hear", write(folder, "steps.wav", 0.5 * x, rate), "--played", "steps")["steps"]
    time = np.arange(rate) / rate
    for step in steps:
        peak = 10 ** ((step["played_db"] - 1) / 20)
        own = curve(peak * np.sin(2 * np.pi * round(step["hz"]) * time))
        line = lambda k: np.abs(np.mean(own * np.exp(-2j * np.pi * k * round(step["hz"]) * time)))
        orders = [k for k in range(2, 10) if k * step["hz"] < 22000]
        want = np.sqrt(sum(line(k) ** 2 for k in orders)) / line(1)
        if want > 1e-4:
            error = 20 * np.log10(step["thd_percent"] / 100 / want)
            holds(f"distortion, {step['hz']:.0f} Hz at {step['played_db']:.0f} dB, dB", error, 0.3)


def main():
    program = sys.argv[1]
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for part in (response, resampled, noise, lines, tremolo, distortion):
            print(part.__doc__)
            part(program, folder)
    if wrong:
        raise SystemExit("apart: " + "; ".join(wrong))


main()
