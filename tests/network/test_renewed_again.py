"""Work after work on one cylinder, with symptoms told before and after each: an ordinary story of a workshop."""

from __future__ import annotations

import tracemalloc
from functools import partial
from pathlib import Path
from unittest import mock

import numpy as np
import pytest
from numpy.testing import assert_allclose

from diag.basics import TooLarge
from diag.casebook import Case, load_case
from diag.inference import blocks, by_term, engine, infer, local
from diag.knowledge_base import load_knowledge
from diag.network import build, weigh
from tests.support.effort import LONG

KNOWLEDGE = load_knowledge()
MIB = 1 << 20


def tried_twice(folder: Path, *symptoms: str) -> Case:
    """An injector was renewed, then its seal, and nothing helped."""
    told = "findings: {" + ", ".join(f"{each}: present" for each in symptoms) + "}"
    work = "".join(
        f"  - did: {did}\n    cylinder: 2\n    helped: no\n    then:\n      {told}\n"
        for did in ("replace_injector", "reseal")
    )
    path = folder / "case.yaml"
    path.write_text(f"engine: ostrel_4\ndistance: 180000 km\nage: 10 years\n{told}\ntried:\n{work}")
    return load_case(path, KNOWLEDGE)


def test_terms_within_the_graph_are_the_density_of_all_levels(tmp_path: Path) -> None:
    """The plate has 36,864 joint levels: met term by term, and all written down."""
    network = build(KNOWLEDGE, tried_twice(tmp_path, "rough_idle", "white_smoke"))
    by_term = infer(network.model, network.evidence)
    with mock.patch.object(engine, "blocks", partial(blocks.blocks, dense=1 << 17)):
        written_down = infer(network.model, network.evidence, unseen=False)
    assert_allclose(by_term.log_evidence, written_down.log_evidence, atol=1e-10)
    assert_allclose(by_term.configurations, written_down.configurations, atol=1e-10)
    for mine, other in zip(by_term.components, written_down.components, strict=True):
        for one, two in zip(mine, other, strict=True):
            assert_allclose(np.asarray(one), np.asarray(two), atol=1e-10)


def test_three_symptoms_before_and_after_fit_into_the_memory(tmp_path: Path) -> None:
    """5,056 terms: their levels on that cylinder had taken 22 GiB, and then the program was killed."""
    network = build(KNOWLEDGE, tried_twice(tmp_path, "rough_idle", "white_smoke", "hard_start"))
    tracemalloc.start()
    try:
        found = infer(network.model, network.evidence)
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 1024 * MIB
    assert found.form == "subtracting"
    assert found.cancellation < 1e-10


def test_what_does_not_fit_into_the_memory_is_refused_before_it_is_made(tmp_path: Path) -> None:
    """With less memory than that, it is said what would help."""
    case = tried_twice(tmp_path, "rough_idle")
    with (
        mock.patch.object(local, "MOST_NUMBERS", 1 << 10),
        pytest.raises(TooLarge, match="leave out findings of earlier visits"),
    ):
        weigh(KNOWLEDGE, case)


PRACTISED = """
engine: karrick_v8
distance: 100000 km
age: 5 years
numbering: confirmed
findings: {hard_start: present, white_smoke: present, idle_speed_hunts: present}
readings:
  correction: {1: 0 mg/stroke, 2: 0.2 mg/stroke, 3: -0.7 mg/stroke, 4: -1.4 mg/stroke,
    5: 0.6 mg/stroke, 6: 0.6 mg/stroke, 7: 0.9 mg/stroke, 8: -0.6 mg/stroke}
tried:
  - did: [replace_injector, write_code]
    cylinder: 1
    helped: no
    then:
      findings:
        hard_start: present
        white_smoke: present
        tar: {1: absent, 2: absent, 3: absent, 4: absent}
        wet_joint: {1: absent, 2: absent, 3: absent, 4: absent}
        well_dry_and_clean: {1: present, 2: present, 3: absent, 4: present}
  - {did: reseal, cylinder: 1, helped: no, then: {findings: {hard_start: present, white_smoke: present}}}
"""


@pytest.mark.skipif(not LONG, reason="half a minute for one case: DIAG_TESTS=long")
def test_corrections_read_before_two_works_fit_into_the_memory(tmp_path: Path) -> None:
    """Corrections read before the work meet many levels at once: one product had taken 25 GiB, in a practice case in
    which two parts were tried at a cylinder that was sound."""
    path = tmp_path / "case.yaml"
    path.write_text(PRACTISED, encoding="utf-8")
    network = build(KNOWLEDGE, load_case(path, KNOWLEDGE))
    tracemalloc.start()
    try:
        found = infer(network.model, network.evidence, unseen=False)
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 2048 * MIB
    assert found.cancellation < 1e-10


def test_what_does_not_fit_in_a_window_is_done_in_smaller_ones(tmp_path: Path) -> None:
    """With room for few numbers the terms are done fewer at once, and say the same."""
    network = build(KNOWLEDGE, tried_twice(tmp_path, "rough_idle", "white_smoke"))
    whole = infer(network.model, network.evidence, unseen=False)
    counted = mock.Mock(side_effect=local.forward)
    with mock.patch.object(by_term, "MOST_NUMBERS", 1 << 17), mock.patch.object(by_term, "forward", counted):
        pieces = infer(network.model, network.evidence, unseen=False)
    assert counted.call_count > 8, "two passes, each in several windows"
    assert_allclose(pieces.log_evidence, whole.log_evidence, atol=1e-12)
    assert_allclose(np.asarray(pieces.components[1][0]), np.asarray(whole.components[1][0]), atol=1e-12)
