"""The reference network as pgmpy has it: checked, normalised, written, read back, sampled."""

from __future__ import annotations

import re
import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from diag.basics import UsageError
from diag.casebook import Case
from diag.knowledge_base import load_knowledge
from diag.network import (
    Question,
    export_bif,
    export_xmlbif,
    node_name,
    pgmpy_network,
    reference_arrays,
    reference_network,
    sample,
)
from tests.network.reduced import ancestors
from tests.network.tiny import case_of, engine, tiny_knowledge
from tests.support.to_reference import pyagrum_module

if TYPE_CHECKING:
    import pyagrum

pytestmark = pytest.mark.filterwarnings("ignore")  # pgmpy, and what it imports, warn about themselves
WHOLE = load_knowledge()
SMALL = case_of(engine(2), ([], []))


@pytest.mark.parametrize("engine_id", sorted(WHOLE.engines))
def test_every_engine_becomes_a_network_whose_rows_sum_to_one(engine_id: str) -> None:
    """All tables, to the last digit that addition keeps; names are slugs; causes come first."""
    case = Case("a test", WHOLE.engines[engine_id], engine_id, 187_000.0, 11.0)
    nodes = reference_arrays(WHOLE, case)
    seen: set[str] = set()
    for node in nodes:
        assert re.fullmatch(r"[A-Za-z]\w*", node.name)
        assert set(node.parents) <= seen
        seen.add(node.name)
        rows = node.table.reshape(-1, len(node.states))
        np.testing.assert_allclose(rows.sum(axis=1), 1.0, rtol=0, atol=2.3e-16)
        assert rows.min() >= 0
    assert len(seen) == len(nodes)


@pytest.mark.parametrize("engine_id", ["ostrel_3", "karrick_v8"])
@pytest.mark.parametrize("ending", ["bif", "bifxml"])
def test_another_program_reads_a_written_engine_with_the_same_numbers(
    engine_id: str, ending: str, tmp_path: Path
) -> None:
    """pyAgrum, which refuses a variable of one state, reads the whole; its reader of BIF keeps seven digits."""
    case = Case("a test", WHOLE.engines[engine_id], engine_id, 187_000.0, 11.0)
    path = tmp_path / f"engine.{ending}"
    (export_bif if ending == "bif" else export_xmlbif)(reference_network(WHOLE, case), path)
    again = pyagrum_module().loadBN(str(path))
    nodes = {node.name: node for node in reference_arrays(WHOLE, case)}
    assert set(again.names()) == set(nodes)
    for node in nodes.values():
        table, names = again.cpt(node.name), (*node.parents, node.name)
        for index in np.ndindex(*node.table.shape):
            named = {name: nodes[name].states[state] for name, state in zip(names, index, strict=True)}
            assert table[gum_place(table, named)] == pytest.approx(node.table[index], abs=1e-6)


def gum_place(table: pyagrum.Tensor, named: Mapping[str, str]) -> pyagrum.Instantiation:
    """Where an entry of a table of pyAgrum stands, by the names of the states."""
    place: pyagrum.Instantiation = pyagrum_module().Instantiation(table)
    for name, state in named.items():
        place.chgVal(name, state)
    return place


def test_pgmpy_checks_the_whole_network() -> None:
    """`check_model` passes for the four-cylinder engine, every finding and reading a leaf."""
    case = Case("a test", WHOLE.engines["ostrel_4"], "ostrel_4", 187_000.0, 11.0)
    network = reference_network(WHOLE, case)
    assert network.check_model()
    leaves = {node for node in network.nodes if not list(network.successors(node))}
    assert {"chuff__2", "chuff__2__load", "rough_idle", "correction__4", "bank_silent__A"} <= leaves


def test_pgmpy_has_the_axes_in_the_order_that_was_meant() -> None:
    """P(level of a severity | its cause before, its cause) read out of pgmpy by name, entry for entry."""
    nodes = reference_arrays(tiny_knowledge(), SMALL)
    network = pgmpy_network(nodes)
    node = next(node for node in nodes if len(node.parents) == 2 and node.table.shape == (3, 2, 3))
    states = {other.name: other.states for other in nodes}
    factor = network.get_cpds(node.name).to_factor()
    for first, one in enumerate(states[node.parents[0]]):
        for second, two in enumerate(states[node.parents[1]]):
            for third, level in enumerate(node.states):
                named = {node.parents[0]: one, node.parents[1]: two, node.name: level}
                assert factor.get_value(**named) == pytest.approx(node.table[first, second, third], abs=1e-15)


@pytest.mark.parametrize("kind", ["bif", "xmlbif"])
def test_a_written_network_reads_back_the_same(kind: str, tmp_path: Path) -> None:
    """Through pgmpy's writers and readers; an existing file is left alone."""
    from pgmpy.readwrite import BIFReader, XMLBIFReader

    network = reference_network(tiny_knowledge(), SMALL)
    path = tmp_path / f"network.{kind}"
    write, reader = {"bif": (export_bif, BIFReader), "xmlbif": (export_xmlbif, XMLBIFReader)}[kind]
    write(network, path)
    again = reader(str(path)).get_model()
    assert set(again.nodes) == set(network.nodes) and set(again.edges) == set(network.edges)
    for cpd in network.get_cpds():
        other = again.get_cpds(cpd.variable).to_factor()
        names = cpd.state_names
        for row in range(len(names[cpd.variable])):
            first = {name: names[name][0] for name in cpd.variables} | {cpd.variable: names[cpd.variable][row]}
            assert other.get_value(**first) == pytest.approx(cpd.to_factor().get_value(**first), abs=1e-12)
    with pytest.raises(UsageError, match="is already there"):
        write(network, path)


def test_samples_have_the_frequencies_of_the_network() -> None:
    """4,000 vehicles: 20 % have a worn pump, within four standard errors; the same seed draws the same."""
    nodes = ancestors(reference_arrays(tiny_knowledge(), SMALL, [Question("slow_rail", None)]), ["slow_rail"])
    network = pgmpy_network(nodes)
    drawn = sample(network, 4000, seed=7)
    share = np.mean([vehicle[node_name("pump")] == "worn" for vehicle in drawn])
    assert share == pytest.approx(0.2, abs=4 * (0.2 * 0.8 / 4000) ** 0.5)
    assert sample(network, 50, seed=3) == sample(network, 50, seed=3)


def test_pgmpy_is_not_imported_until_a_reference_is_asked_for() -> None:
    """Weighing a case must start at once."""
    import subprocess
    import sys

    code = "import sys, diag.network; print('pgmpy' in sys.modules, 'scipy' in sys.modules, 'pandas' in sys.modules)"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "False False False"
