"""The knowledge as a graph: what reaches what, and its drawings."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import networkx
import pytest

from diag.basics import UsageError
from diag.knowledge_base import (
    Knowledge,
    causes_of,
    draw_graph,
    items_of,
    knowledge_graph,
    links_of,
    neighbourhood,
    reaches,
)

SVG = "{http://www.w3.org/2000/svg}"


def test_nodes_and_edges(small: Knowledge) -> None:
    """Kinds and names of nodes, kinds and strengths of edges."""
    graph = knowledge_graph(small)
    assert graph.nodes["seal"] == {"kind": "component", "id": "seal", "name": "combustion seal", "per": "cylinder"}
    assert graph.nodes["check listen"]["kind"] == "check"
    assert graph.edges["seal", "blow_by"] == {"kind": "causes", "strength": pytest.approx(0.79)}
    assert graph.edges["stress", "injector"] == {"kind": "changes", "strength": pytest.approx(0.08)}
    assert graph.edges["blow_by", "chuff"]["strength"] == pytest.approx(0.95)
    assert graph.edges["check listen", "chuff"]["kind"] == "yields"
    assert graph.edges["repair replace_injector", "seal"]["kind"] == "renews"
    assert len(graph.edges) == len(links_of(small))


def test_what_reaches_what(small: Knowledge) -> None:
    """In the order of the files."""
    assert causes_of(small, "chuff") == ("seal", "stress")
    assert causes_of(small, "shakes") == ("seal", "injector", "mounts", "stress")
    assert causes_of(small, "mount_gap") == ("mounts",)
    assert reaches(small, "mounts") == ("shakes", "mount_gap")
    assert reaches(small, "stress") == ("chuff", "shakes", "starving_code", "correction")


def test_reaching_agrees_with_networkx(shipped: Knowledge) -> None:
    """Ancestors and descendants along causal edges, for everything that ships."""
    graph = knowledge_graph(shipped)
    causal: networkx.DiGraph[str] = networkx.DiGraph()
    causal.add_nodes_from(graph)
    causal.add_edges_from(edge for edge in graph.edges if graph.edges[edge]["kind"] in ("causes", "changes", "shows"))
    assert networkx.is_directed_acyclic_graph(causal)
    for finding in (*shipped.findings, *shipped.readings):
        behind = networkx.ancestors(causal, finding)
        assert set(causes_of(shipped, finding)) == behind & set(shipped.components)
    for component in shipped.components:
        ahead = networkx.descendants(causal, component)
        assert set(reaches(shipped, component)) == ahead & {*shipped.findings, *shipped.readings}


def test_every_shipped_finding_has_a_cause(shipped: Knowledge) -> None:
    """Nothing is asked for that nothing brings about."""
    assert all(causes_of(shipped, finding) for finding in (*shipped.findings, *shipped.readings))


def test_neighbourhood(small: Knowledge) -> None:
    """What is before and after, with the checks and repairs that belong to it; not what is beside it."""
    keys = neighbourhood(small, "mounts")
    assert keys == {"mounts", "shaking", "shakes", "mount_gap", "check scan", "repair replace_mounts"}
    assert "check listen" in neighbourhood(small, "listen")
    assert neighbourhood(small, "listen") >= {"chuff", "blow_by", "seal", "stress"}


@pytest.mark.parametrize("ask", [causes_of, reaches, neighbourhood, draw_graph])
def test_unknown_items(ask: object, small: Knowledge) -> None:
    """A near miss is named."""
    assert callable(ask)
    with pytest.raises(UsageError, match=r"the knowledge holds nothing called 'chaff' that .*; did you mean 'chuff'\?"):
        ask(small, "chaff")


def test_dot_names_everything_once(small: Knowledge) -> None:
    """One line for each node and edge, and the chosen item stands out."""
    text = draw_graph(small, "mounts")
    assert text.startswith("digraph knowledge {") and text.endswith("}\n")
    assert text.count(" -> ") == 5
    assert '"mounts" [label="engine mounts", shape=box, penwidth=3];' in text


@pytest.mark.parametrize("item", [None, "seal", "chuff", "reseal", "listen", "stress"])
def test_svg_stands_alone(item: str | None, small: Knowledge) -> None:
    """It parses, has words for those who cannot see it, names every node, and nothing lies over another."""
    picture = ElementTree.fromstring(draw_graph(small, item, "svg"))
    assert picture.findtext(f"{SVG}title") and picture.findtext(f"{SVG}desc")
    shown = items_of(small).keys() if item is None else neighbourhood(small, item)
    words = {text.text for text in picture.iter(f"{SVG}text")}
    assert {items_of(small)[key].name for key in shown} <= words
    assert "http" not in draw_graph(small, item, "svg").replace("http://www.w3.org/2000/svg", "")
    boxes = [
        (float(box.get("x", "")), float(box.get("y", "")))
        for box in picture.iter(f"{SVG}rect")
        if "n " in box.get("class", "")
    ]
    assert len(set(boxes)) == len(boxes)


def test_names_are_escaped(small: Knowledge) -> None:
    """A name with < and & and quotes harms neither drawing."""
    odd = small.components["mounts"].model_copy(update={"name": 'a "b" <c> & d'})
    knowledge = small.model_copy(update={"components": {**small.components, "mounts": odd}})
    assert 'label="a \\"b\\" <c> & d"' in draw_graph(knowledge, "mounts")
    names = [text.text for text in ElementTree.fromstring(draw_graph(knowledge, "mounts", "svg")).iter(f"{SVG}text")]
    assert 'a "b" <c> & d' in names
