"""Triage against simulated failures whose true cause is known. The simulation shares nothing with the weighing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from condyle.build.triage import CAUSES, Company, History, Measure, triage
from condyle.build.triage.causes import SYMPTOMS, causes_of

# How a bench would describe each cause, in an order of its own; shares drawn anew. Common practice, no source.
MAIN_SIGN = {
    "island": ["loose strands", "missing region"],
    "support": ["loose strands", "rough surface", "missing region"],
    "contact": ["came loose"],
    "slender": ["came loose", "layer shift", "rough surface"],
    "thin": ["missing region", "broken in removal"],
    "gap": ["fused joint"],
    "plate": ["came loose", "warped"],
    "feed": ["under-extrusion"],
    "motion": ["layer shift"],
    "material": ["stringing", "rough surface"],
    "flow": ["fused joint", "rough surface"],
    "handling": ["broken in removal"],
}
RESIN_SIGN = {
    "suction": ["stuck to the film", "torn off supports", "layers parted"],
    "peel": ["torn off supports", "came loose"],
    "trapped": ["cracked after curing"],
    "exposure": ["layers parted", "torn off supports"],
    "film": ["stuck to the film", "rough surface"],
    "support": ["torn off supports", "missing region"],
    "island": ["missing region", "stuck to the film"],
    "gap": ["fused joint"],
    "plate": ["came loose"],
    "motion": ["layer shift"],
    "handling": ["broken in removal"],
}
RESIN_FLAWS = ["island", "support", "thin", "gap", "suction", "peel", "trapped"]
AT_THE_RESIN_PRINTER = {"plate", "feed", "motion", "material", "flow", "exposure", "film"}
FLAWS = ["island", "support", "contact", "slender", "thin", "gap"]
AT_THE_PRINTER = {"plate", "feed", "motion", "material", "flow"}


def one_failure(rng: np.random.Generator, signs=MAIN_SIGN, flaws=tuple(FLAWS), machine=frozenset(AT_THE_PRINTER)):
    """A true cause, and what a maker would have in hand: sign, measures with noise, company and history."""
    cause = str(rng.choice(list(signs)))
    sign = str(rng.choice(signs[cause])) if rng.random() < 0.85 else str(rng.choice(list(SYMPTOMS)))
    geometry = {}
    for flaw in flaws:
        if rng.random() < 0.1:
            continue  # not measured
        true = rng.uniform(1.3, 4.0) if flaw == cause else rng.uniform(0.05, 0.9)
        seen = true * math.exp(rng.normal(0.0, 0.2))
        geometry[flaw] = Measure(seen, 1.0, "of its limit")
    others = int(rng.integers(0, 7))
    failing = rng.binomial(others, 0.6 if cause in machine else 0.08)
    before = int(rng.integers(0, 4))
    failed_before = rng.binomial(before, 0.8 if cause in flaws else 0.1)
    past = int(rng.integers(0, 40))
    history = History(alike=(before, int(failed_before)), printer=(past, int(rng.binomial(past, 0.1))))
    return cause, sign, geometry, Company(others, int(failing)), history


def test_the_true_cause_comes_first_in_four_of_five_answers():
    rng = np.random.default_rng(20)
    right = answered = 0
    for _ in range(1500):
        cause, *evidence = one_failure(rng)
        told = triage(*evidence)
        if told.answer is not None:
            answered += 1
            right += told.answer == cause
    assert right / answered >= 0.80
    assert answered / 1500 >= 0.5, "a triage that hardly ever answers is of no use"


def test_resin_has_causes_of_its_own():
    rng = np.random.default_rng(21)
    right = answered = 0
    for _ in range(1500):
        cause, *evidence = one_failure(rng, RESIN_SIGN, RESIN_FLAWS, AT_THE_RESIN_PRINTER)
        told = triage(*evidence, process="resin")
        assert {s.cause for s in told.suspects} == set(CAUSES) - {"contact", "slender"}
        if told.answer is not None:
            answered += 1
            right += told.answer == cause
    assert right / answered >= 0.80
    assert answered / 1500 >= 0.5


def test_without_any_evidence_it_cannot_tell():
    assert triage("other", {}).answer is None


def test_other_parts_that_fail_at_the_same_time_speak_for_the_printer():
    alone = triage("came loose", {}, Company(6, 0))
    together = triage("came loose", {}, Company(6, 5))
    assert together.suspects[0].cause == "plate"
    assert _share(together, "plate") > 0.8 > 0.3 > _share(alone, "plate")


def test_an_island_speaks_for_the_file():
    found = triage("loose strands", {"island": Measure(3.0, 0.16, "mm²", place=(1.0, 2.0, 3.0))}, Company(5, 0))
    assert found.answer == "island"
    assert "(1.0, 2.0, 3.0)" in found.suspects[0].evidence[0]
    assert set(found.not_measured) == {"support", "contact", "slender", "thin", "gap"}


@given(st.sampled_from(SYMPTOMS), st.floats(0.01, 20.0), st.integers(0, 8), st.data())
def test_shares_sum_to_one_and_a_worse_measure_never_clears_its_cause(symptom, badness, others, data):
    company = Company(others, data.draw(st.integers(0, others)))
    found = triage(symptom, {"contact": Measure(1.0, badness, "mm²", more_is_better=True)}, company)
    worse = triage(symptom, {"contact": Measure(1.0, 1.5 * badness, "mm²", more_is_better=True)}, company)
    assert math.fsum(s.share for s in found.suspects) == pytest.approx(1.0)
    assert len(found.suspects) == len(causes_of("filament"))
    assert _share(worse, "contact") >= _share(found, "contact") - 1e-12


def _share(found, cause):
    return next(s.share for s in found.suspects if s.cause == cause)
