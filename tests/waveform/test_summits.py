"""High and low levels of a common cycle of any form: right within their errors, and honest about them."""

import numpy as np
import pytest

from registry.waveform import kernels

BINS = 240
AT = (np.arange(BINS) + 0.5) / BINS
NOISE = 0.4


def flat(x):
    return np.clip(np.minimum(x - 0.2, 0.6 - x) * 8, 0, 1)


def sagging(x):
    return flat(x) * (1 - 0.1 * np.clip(x - 0.325, 0, 1))


def corner(x):
    return np.where(x < 0.5, 2 * x, 2 - 2 * x)


def dome(x):
    return np.sin(np.pi * x) ** 2


def bent_corner(x):
    return np.where(x < 0.5, -np.expm1(-7 * x) / -np.expm1(-3.5), 1.2 - 0.4 * x) * np.where(x > 0.8, 0.2, 1)


FORMS = {"flat": flat, "sagging": sagging, "corner": corner, "dome": dome, "bent corner": bent_corner}


def found(form, seed, sign=1):
    level = 20 + 200 * form(AT)
    noisy = sign * (level + NOISE * np.random.default_rng(seed).standard_normal(BINS))
    start = int(np.argmax(sign * noisy))
    weight = np.full(BINS, NOISE**-2)
    return kernels.summits.extreme_level(AT, noisy, weight, sign * level, start, sign, (1.0, 60.0))


@pytest.mark.parametrize("name", FORMS)
def test_the_extreme_is_found_without_the_bias_of_a_maximum(name):
    truth = 20 + 200 * FORMS[name](np.linspace(0, 1, 100_001)).max()
    values, errors = np.array([found(FORMS[name], seed) for seed in range(60)]).T
    off = values - truth
    assert abs(off.mean()) < 0.5 * NOISE
    assert np.sqrt(np.mean(off**2)) < 0.8 * NOISE
    assert np.mean(np.abs(off) <= 2 * errors) >= 0.85


def test_low_is_high_turned_over():
    for seed in range(5):
        value, error = found(corner, seed)
        assert found(corner, seed, sign=-1) == pytest.approx((-value, error))


def test_a_place_that_no_form_fits_is_unknown():
    jumps = np.where(np.arange(BINS) % 2, 50.0, 0.0)
    value, error = kernels.summits.extreme_level(
        AT, jumps, np.full(BINS, 100.0), np.zeros(BINS), 100, 1, (1.0, 60.0)
    )
    assert np.isnan(value)
    assert np.isnan(error)


def test_what_a_window_does_not_tell_is_in_the_error():
    """Bins on one flank alone leave open how far it goes on; bins on both sides of a corner do not."""
    level = 100 - 400 * np.abs(AT - 0.5)
    noisy = level + NOISE * np.random.default_rng(3).standard_normal(BINS)
    both, few = np.full(BINS, NOISE**-2), np.full(BINS, NOISE**-2)
    few[112:128] *= 1e-4
    known, unknown = (
        kernels.summits.extreme_level(AT, noisy, weight, level, 120, 1, (1.0, 60.0))[1]
        for weight in (both, few)
    )
    assert unknown > 1.5 * known
