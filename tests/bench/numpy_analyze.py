#!/usr/bin/python3
"""What `coldtune analyze` does at the foot, in vectorised numpy and scipy: from a capture to resonance, Q and
resistance, with the examination of the capture and the uncertainty budget. It does somewhat less than the program:
one form of background, one window, no search for further peaks, no drift removed, no sentences.

    numpy_analyze.py CAPTURE.wav PERIOD
"""
import sys

import numpy
import scipy.fft
from scipy.io import wavfile
from scipy.ndimage import uniform_filter1d
from scipy.optimize import least_squares

REFERENCE_OHM, INPUT_OHM, INPUT_F = 10e3, 1e6, 150e-12


def read_capture(path):
    """Both channels, full scale 1. 24-bit samples come at the top of 32 bits."""
    rate, samples = wavfile.read(path)
    return rate, numpy.ascontiguousarray(samples.T) * (1.0 / 2 ** 31)


def signal_start(channel):
    blocks = channel[: channel.size // 64 * 64].reshape(-1, 64)
    level = numpy.einsum("ij,ij->i", blocks, blocks)
    return 64 * int(numpy.argmax(level > 1e-3 * level.max()))


def response(generator, coil, n, first, rfft=scipy.fft.rfft):
    """Bins, ratio of the means over the periods, and the variances from the scatter between periods."""
    count = (generator.size - first) // n
    g = rfft(generator[first: first + count * n].reshape(count, n))
    c = rfft(coil[first: first + count * n].reshape(count, n))
    power = numpy.abs(g[count // 2]) ** 2
    loud = numpy.flatnonzero(power > 1e-6 * numpy.median(power[power > 1e-3 * power.max()]))
    band = slice(loud[0], loud[-1] + 1)
    g, c = g[:, band], c[:, band]
    # Delay from period to period, for the drift of two clocks.
    turn = 2 * numpy.pi / n * numpy.arange(band.start, band.stop)
    cross = g[1:] * g[:-1].conj()
    drift = (cross.imag @ turn).sum() / (cross.real @ turn ** 2).sum()
    mean_g, mean_c = g.mean(axis=0), c.mean(axis=0)
    ratio = mean_c / mean_g
    g -= mean_g
    c -= mean_c
    own = [uniform_filter1d((x.real ** 2 + x.imag ** 2).sum(axis=0), 201) for x in (g, c)]
    rest = c - ratio * g
    rest = uniform_filter1d((rest.real ** 2 + rest.imag ** 2).sum(axis=0), 201)
    scale = 1 / (count * (count - 1))
    variance = rest * scale / (mean_g.real ** 2 + mean_g.imag ** 2)
    return numpy.arange(band.start, band.stop), ratio, variance, [x * scale for x in own], drift


def impedance(frequency, ratio):
    """The declared divider taken out."""
    open_ratio = 1 / (1 + REFERENCE_OHM * (1 / INPUT_OHM + 2j * numpy.pi * frequency * INPUT_F))
    return REFERENCE_OHM * open_ratio * ratio / (open_ratio - ratio)


def per_ratio(frequency, ratio):
    """How far the impedance goes with the ratio, ohm."""
    open_ratio = 1 / (1 + REFERENCE_OHM * (1 / INPUT_OHM + 2j * numpy.pi * frequency * INPUT_F))
    return numpy.abs(REFERENCE_OHM * open_ratio ** 2 / (open_ratio - ratio) ** 2)


def fit(frequency, ratio, variance, bandwidths=6):
    """Maximum likelihood of a series branch with a capacitor across it, in the ratio. Returns f0, Q, R."""
    admittance = 1 / impedance(frequency, ratio)
    smooth = uniform_filter1d(admittance.real, 5)
    top = int(numpy.argmax(smooth))
    above = numpy.flatnonzero(smooth > smooth[top] / 2)
    width = frequency[above[-1]] - frequency[above[0]]
    f0, q, height = frequency[top], frequency[top] / width, smooth[top]
    near = numpy.abs(frequency / f0 - f0 / frequency) < 2 * bandwidths / q
    f, m, weight = frequency[near], ratio[near], numpy.sqrt(2 / variance[near])
    bench = 1 / INPUT_OHM + 2j * numpy.pi * f * INPUT_F

    def parts(p):
        centre, sharp = f0 * numpy.exp(p[0] / q), q * numpy.exp(p[1])
        up, down = f / centre, centre / f
        line = 1 / (1 + 1j * sharp * (up - down))
        total = 1 + REFERENCE_OHM * (bench + height * (p[2] * line + 1j * p[3] * f / f0))
        return sharp, up, down, line, total

    def residuals(p):
        return (weight * (1 / parts(p)[4] - m)).view(float)

    def slopes(p):
        sharp, up, down, line, total = parts(p)
        through = -weight * REFERENCE_OHM * height / total ** 2
        bend = -1j * p[2] * line ** 2
        columns = [bend * -sharp * (up + down) / q, bend * sharp * (up - down), line, 1j * f / f0]
        return numpy.stack([(through * column).view(float) for column in columns], axis=1)

    found = least_squares(residuals, [0, 0, 1, 0], jac=slopes, method="lm", xtol=1e-11, ftol=1e-12, gtol=1e-12)
    return f0 * numpy.exp(found.x[0] / q), q * numpy.exp(found.x[1]), 1 / (found.x[2] * height)


def examine(generator, coil, rate, n, first):
    """Levels, clipping, stuck and repeated stretches, hum, breaks of the period, distortion: what speaks against it."""
    found = []
    for channel in (generator, coil):
        top, bottom = channel.max(), channel.min()
        power = numpy.dot(channel, channel) / channel.size - channel.mean() ** 2
        high = channel >= 0.99 * top
        low = channel <= 0.99 * bottom
        same = channel[1:] == channel[:-1]
        clipped = int(((high | low)[1:-1] & same[1:] & same[:-1]).sum())
        stuck = int((channel[:-1:8] == channel[1::8]).sum())
        repeated = []
        for block in (32, 48, 64, 96, 128, 144, 192, 240, 256, 288, 384, 441, 480, 512, 576, 882, 960, 1024, 1152, 1920,
                      2048, 4096):
            ahead, behind = channel[block::16], channel[:-block:16]
            repeated.append(int((ahead == behind).sum()))
        found.append((top, bottom, power, clipped, stuck, max(repeated)))
    # Hum: spectra of one second, Hann.
    second = int(rate)
    pieces = coil[: coil.size // second * second].reshape(-1, second)
    window = 0.5 - 0.5 * numpy.cos(2 * numpy.pi / second * numpy.arange(second))
    spectra = scipy.fft.rfft((pieces - pieces.mean(axis=1, keepdims=True)) * window)
    density = (spectra.real ** 2 + spectra.imag ** 2).mean(axis=0)
    hum = [(density[m], numpy.median(density[m - 20: m + 21])) for b in (50, 60) for m in range(b, 12 * b + 1, b)]
    # Breaks: each stretch against the one a period later.
    block = min(1024, max(16, n // 64))
    tail = generator[first: first + (generator.size - first) // block * block]
    early, late = tail[:-n], tail[n:]
    whole = early.size // block * block
    difference = (late[:whole] - early[:whole]).reshape(-1, block)
    level = tail[: whole].reshape(-1, block)
    breaks = numpy.einsum("ij,ij->i", difference, difference) / numpy.einsum("ij,ij->i", level, level)
    # Distortion and unsteadiness: the first half of the periods against the second.
    count = (generator.size - first) // n
    each = count // 2
    halves = []
    for channel in (generator, coil):
        part = channel[first: first + 2 * each * n].reshape(2, each, n).mean(axis=1)
        halves.append(scipy.fft.rfft(part))
    silent = numpy.abs(halves[0][0]) ** 2 < 1e-6 * numpy.max(numpy.abs(halves[0][0]) ** 2)
    lowest, highest = int(700 * n / rate), n * 93 // 200
    distortion = []
    for half in halves:
        mean, change = (half[0] + half[1]) / 2, half[0] - half[1]
        excess = mean.real ** 2 + mean.imag ** 2 - 0.25 * (change.real ** 2 + change.imag ** 2)
        distortion.append(excess[lowest:highest][silent[lowest:highest]].sum())
    steady = halves[1][1][~silent] / halves[0][1][~silent] - halves[1][0][~silent] / halves[0][0][~silent]
    return found, hum, float(breaks.max()), distortion, float(numpy.abs(steady).max())


def budget(frequency, ratio, variance, at):
    """What each declared value moves: the fit again with it at one standard uncertainty."""
    f0, q, _ = at
    near = numpy.abs(frequency / f0 - f0 / frequency) < 6 / q
    f, m, v = frequency[near], ratio[near], variance[near]
    third = 1 / numpy.sqrt(3)
    omega = 2j * numpy.pi * f
    moved = [m, m * (1 + 0.02 * third), m * numpy.exp(0.003j * third), m * (1 + 0.01 * third),
             m * (1 + omega * REFERENCE_OHM * 0.5e-12 * third), m * (1 - omega * 0.3 * INPUT_F * third * REFERENCE_OHM * m),
             m - (0.1 + omega * 0.5e-6) * third / REFERENCE_OHM * (1 - m)]
    results = numpy.array([fit(f, each, v, 3) for each in moved])
    return results[1:] - results[0]


def main():
    rate, (generator, coil) = read_capture(sys.argv[1])
    n = int(sys.argv[2])
    first = signal_start(generator) + n - n // 20
    bins, ratio, variance, _, _ = response(generator, coil, n, first)
    frequency = bins * (rate / n)
    facts = examine(generator, coil, rate, n, first)
    values = fit(frequency, ratio, variance)
    moves = budget(frequency, ratio, variance, values)
    print("{:.4f} Hz, Q {:.3f}, {:.2f} ohm".format(*values))
    print("uncertainty {:.4f} Hz, {:.3f}, {:.2f} ohm".format(*numpy.sqrt((moves ** 2).sum(axis=0))))
    print(facts)


if __name__ == "__main__":
    main()
