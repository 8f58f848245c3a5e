"""A cylinder on which much was renewed: checks are ranked, and what they would tell is split as inference has it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.testing import assert_allclose

from diag.casebook import load_case
from diag.decision import decide_repair, rank_checks, reckon
from diag.inference import Asked, cell_values, mixture
from diag.knowledge_base import load_knowledge
from diag.network import weigh

CASE = """
title: chuffs, after two repairs
engine: ostrel_4
distance: 178000 km
age: 10 years
findings: {fumes: present, chuff_somewhere: present}
tried:
  - {did: reseal, cylinder: 2, helped: no}
  - {did: replace_injector, cylinder: 2, helped: no}
"""


def test_checks_are_ranked_after_a_seal_and_an_injector_on_one_cylinder(tmp_path: Path) -> None:
    """Such a case was refused as too large. The levels of the cylinder's blow-by, split for the ranking, are those that
    weighing gives, which goes another way there: it meets the terms within the plate."""
    knowledge, path = load_knowledge(), tmp_path / "case.yaml"
    path.write_text(CASE, encoding="utf-8")
    case = load_case(path, knowledge)
    weighed = weigh(knowledge, case)
    ready = reckon(knowledge, case, weighed.network, weighed.posterior)
    ranking = rank_checks(ready, decide_repair(ready), ahead=False)
    assert any(each.place == 2 and each.worth.amount > 0 for each in ranking.checks)

    model, evidence = weighed.network.model, weighed.network.evidence
    plate, axis = weighed.network.severity_at("blow_by", 2)
    whole = mixture(model, evidence, [[{}]] * len(model.plates))
    others = [values[0, 0] for number, values in enumerate(whole.values) if number != plate]
    rest = whole.weights[0] * np.prod(others, axis=0)
    cells = cell_values(model, evidence, [Asked(plate, [{}], (axis,))])[0][0]
    assert_allclose(cells.sum(axis=0), whole.values[plate][0, 0], atol=1e-12)
    assert_allclose(cells @ rest, weighed.posterior.axes[plate][axis][0], atol=1e-9)
