"""The Bayes arithmetic against worked textbook examples."""

import numpy as np
import pytest

from registry.statistics.posterior import Band, band_of, posterior

# From memory: D. M. Eddy, "Probabilistic reasoning in clinical medicine" (in Kahneman, Slovic, Tversky,
# "Judgment under Uncertainty", 1982), worked in many textbooks: 1 % prevalence, the test finds 80 % of cases
# and 9.6 % of the others; a positive test leaves 7.8 %.
MAMMOGRAPHY = (np.array([0.01, 0.99]), np.array([0.80, 0.096]), 0.0776)

# From memory: a factory in W. Feller, "An Introduction to Probability Theory", vol. 1, ch. V: three machines
# make 25, 35 and 40 % of the bolts, of which 5, 4 and 2 % are bad; a bad one is theirs by 25, 28, 16 in 69.
BOLTS = (np.array([0.25, 0.35, 0.40]), np.array([0.05, 0.04, 0.02]), np.array([25, 28, 16]) / 69)


def test_a_positive_test_of_a_rare_state() -> None:
    prior, likelihoods, chance = MAMMOGRAPHY
    assert posterior(prior, [np.log(likelihoods)])[0] == pytest.approx(chance, abs=5e-5)


def test_the_bad_bolt() -> None:
    prior, likelihoods, chances = BOLTS
    assert posterior(prior, [np.log(likelihoods)]) == pytest.approx(chances)


def test_two_positive_tests_are_one_after_the_other() -> None:
    prior, likelihoods, _ = MAMMOGRAPHY
    logs = np.log(likelihoods)
    assert posterior(prior, [logs, logs]) == pytest.approx(posterior(posterior(prior, [logs]), [logs]))
    # By hand: odds 1/99 times (0.80 / 0.096) squared.
    odds = (0.80 / 0.096) ** 2 / 99
    assert posterior(prior, [logs, logs])[0] == pytest.approx(odds / (1 + odds))


@pytest.mark.parametrize(
    ("twice_log", "band"),
    [(1.9, Band.LITTLE), (5.9, Band.POSITIVE), (9.9, Band.STRONG), (10.1, Band.DECISIVE)],
)
def test_bands_on_the_scale_of_twice_the_logarithm(twice_log, band) -> None:
    """R. E. Kass, A. E. Raftery, J. Am. Stat. Assoc. 90 (1995) 773, table in 3.2 (from memory): 2 ln B from 0
    to 2, 2 to 6, 6 to 10 and above; beside it B from 1 to 3, 3 to 20, 20 to 150 and above."""
    assert band_of(float(np.exp(twice_log / 2))) is band
