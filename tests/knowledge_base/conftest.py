"""A small invented knowledge, whole enough to load, that tests spoil one line at a time."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from diag.knowledge_base import Knowledge, load_knowledge

SMALL = {
    "components.yaml": """\
components:
  seal:
    name: combustion seal
    plain: the washer
    per: cylinder
    states:
      sound: {name: sound}
      weeping: {name: weeping}
      blown: {name: blown}
    life:
      clock: distance
      shape: {value: 2.5, also: [1.9]}
      scale: 600000
      unnoticed: 12000
      fails_as: {weeping: 60 %, blown: 40 %}
      scale_under: {stress: {harsh: 0.5}}
    fresh: {weeping: 1.5 %}
    basis: {source: elicited, strength: 10}
  injector:
    name: injector
    plain: the valve
    per: cylinder
    states: {sound: {name: sound}, worn: {name: worn}}
    chance: {worn: 4 %}
    given: {stress: {harsh: {worn: 8 %}}}
    basis: {source: published, cite: book, strength: 20}
  mounts:
    name: engine mounts
    plain: the rubber
    per: vehicle
    states: {sound: {name: sound}, torn: {name: torn}}
    chance: {torn: {value: 2 %, basis: {source: learned, strength: 40}}}
    basis: {source: elicited}
  stress:
    name: stress
    plain: heat
    per: vehicle
    states: {ordinary: {name: ordinary}, harsh: {name: harsh}}
    reaches_cylinders: true
    fault: false
    chance: {harsh: 12 %}
    basis: {source: elicited}
""",
    "severities.yaml": """\
severities:
  blow_by:
    name: gas past the seal
    plain: gas
    per: cylinder
    levels: [none, slight, strong]
    causes:
      seal: {weeping: {slight: 70 %, strong: 5 %}, blown: {slight: 20 %, strong: 79 %}}
    basis: {source: elicited}
  starving:
    name: too little fuel
    plain: too little
    per: cylinder
    levels: [none, some]
    causes: {injector: {worn: {some: 80 %}}, seal: {blown: {some: 10 %}}}
    background: {some: 1 %}
    basis: {source: elicited}
  rough:
    name: rough running
    plain: rough
    per: vehicle
    levels: [smooth, uneven]
    causes: {blow_by: {strong: {uneven: 60 %}}, starving: {some: {uneven: 70 %}}}
    basis: {source: elicited}
  shaking:
    name: shaking
    plain: shaking
    per: vehicle
    levels: [none, felt]
    causes: {rough: {uneven: {felt: 90 %}}, mounts: {torn: {felt: 80 %}}}
    basis: {source: elicited}
""",
    "findings.yaml": """\
findings:
  chuff:
    name: chuffing
    ask: Does it chuff?
    plain: chuffing
    kind: observation
    shows: blow_by
    chance: {none: 3 %, slight: 45 %, strong: 88 %}
    under: {load: {none: 3 %, slight: 60 %, strong: 95 %}}
    basis: {source: elicited}
  shakes:
    name: shakes
    ask: Does it shake?
    plain: it shakes
    kind: symptom
    shows: shaking
    chance: {none: 2 %, felt: 95 %}
    danger: [beware]
    basis: {source: elicited}
  starving_code:
    name: contribution code
    ask: Is a contribution code stored?
    plain: a code
    kind: code
    shows: starving
    chance: {none: 1 %, some: 40 %}
    code: {first: P0263, step: 3}
    basis: {source: elicited}
readings:
  correction:
    name: correction
    ask: What is the correction?
    plain: correction
    shows: starving
    unit: mg/stroke
    limit: correction
    spread:
      none: {middle: 0, width: 0.8}
      some: {middle: 3, width: 1.2}
    instrument_error: 0.1
    lowest: -10
    highest: 10
    basis: {source: elicited}
  mount_gap:
    name: gap of the mounts
    ask: How wide is the gap?
    plain: gap
    shows: mounts
    unit: mm
    spread:
      sound: {shape: log-normal, middle: 1, width: 0.3}
      torn: {shape: log-normal, middle: 5, width: 0.5}
    instrument_error: 0.1
    lowest: 0
    highest: 50
    basis: {source: elicited}
""",
    "work.yaml": """\
checks:
  listen:
    name: listen
    how: Listen.
    covers: cylinder
    yields: [chuff, chuff under load]
    minutes: 5
    needs: [engine_running]
    hazards: [engine running]
    basis: {source: elicited}
  scan:
    name: read codes
    how: Read.
    covers: vehicle
    yields: [starving_code, correction, mount_gap]
    minutes: 4
    access: covers
    basis: {source: elicited}
repairs:
  reseal:
    name: reseal
    plain: new washer
    on: cylinder
    renews: [seal]
    parts: {washer: 1, o_ring: 1, clamp_bolt: 1}
    minutes: 30
    access: injectors
    hazards: [opens fuel pressure, unplugs an injector]
    risks:
      - {name: stuck, by: blow_by, chance: {slight: 5 %, strong: 15 %}, minutes: 60}
    steps: [draw, fit]
    read_again: [correction]
    basis: {source: elicited}
  replace_injector:
    name: replace injector
    plain: new injector
    on: cylinder
    renews: [injector, seal]
    parts: {injector: 1, washer: 1, o_ring: 1, clamp_bolt: 1}
    minutes: 40
    access: injectors
    hazards: [opens fuel pressure, unplugs an injector]
    then: [write_code]
    steps: [draw, fit, fit_new]
    basis: {source: elicited}
  write_code:
    name: write the code
    plain: write it
    on: cylinder
    minutes: 10
    steps: [write]
    basis: {source: elicited}
  replace_mounts:
    name: replace mounts
    plain: new rubber
    on: vehicle
    renews: [mounts]
    minutes: 90
    steps: [mounts]
    basis: {source: elicited}
""",
    "rest.yaml": """\
vocabulary:
  access:
    covers: {name: covers off, open: [off], close: [on]}
    injectors: {name: injectors bare, includes: [covers], shuts_engine: true, open: [pipe], close: [pipe_on]}
  preconditions: {engine_running: engine running}
  conditions: {load: under load, cold: cold}
cautions:
  running:
    {text: Keep away from moving parts., hazards: [engine running, moving parts], basis: {source: common practice}}
  fuel: {text: Fuel jets cut., hazards: [opens fuel pressure, unplugs an injector], basis: {source: common practice}}
  beware: {text: Do not drive on., basis: {source: common practice}}
sources:
  book: {citation: An invented book.}
answers:
  a_bit: {name: a bit, ratio: 3, basis: {source: elicited}}
prices:
  currency: EUR
  labour_per_hour: 90
  tax: 20 %
  finish_minutes: 20
  diagnosis_minutes: 15
  parts:
    washer: {name: washer, price: 3, single_use: true}
    o_ring: {name: O-ring, price: 2, single_use: true}
    clamp_bolt: {name: clamp bolt, price: 6, single_use: true}
    injector: {name: injector, price: 300}
  customer:
    km_per_year: 15000
    horizon_months: 36
    discount_per_year: 4 %
    return_visit: 80
    tow: 150
    damage_of_driving_on: 400
  basis: {source: elicited}
""",
    "work_steps.yaml": """\
steps:
  off: {do: Covers off., stage: open, each: group}
  pipe: {do: Pipe off., stage: open, hazards: [opens fuel pressure]}
  draw: {do: Draw it., stage: work, hazards: [unplugs an injector], removes_injector: true}
  fit: {do: Fit it., stage: work, torques: [clamp_bolt], parts: [washer, o_ring, clamp_bolt]}
  fit_new: {do: Fit the new one., stage: work, parts: [injector]}
  mounts: {do: Fit rubber., stage: work}
  pipe_on: {do: Pipe on., stage: close}
  on: {do: Covers on., stage: close, each: group}
  write: {do: "Write {code_length} signs after {wait}.", stage: codes}
""",
    "engines/toy_4.yaml": """\
engine:
  name: Toy four, invented
  invented: true
  layout: inline
  injector: solenoid
  banks: {A: [1, 2, 3, 4]}
  firing_order: [1, 3, 4, 2]
  access_minutes: {covers: {A: 8}, injectors: {A: 30}}
  awkward_minutes: {4: 10}
  limits: {correction: {value: 3, unit: mg/stroke, default: true, note: a look}}
  torques: {clamp_bolt: {newton_metres: 8}}
""",
}


def write_small(folder: Path, changes: dict[str, str] | None = None) -> Path:
    """Write the small knowledge into a folder, with whole files exchanged or added."""
    for name, text in {**SMALL, **(changes or {})}.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


Editor = Callable[[str, str, str], Path]


@pytest.fixture
def spoilt(tmp_path: Path) -> Editor:
    """Write the small knowledge with one piece of one file exchanged."""

    def edit(file: str, old: str, new: str) -> Path:
        assert SMALL[file].count(old) >= 1, f"{old!r} is not in {file}"
        return write_small(tmp_path, {file: SMALL[file].replace(old, new, 1)})

    return edit


@pytest.fixture
def small_folder(tmp_path: Path) -> Path:
    """The small knowledge in a folder of its own."""
    return write_small(tmp_path / "small")


@pytest.fixture(scope="session")
def small(tmp_path_factory: pytest.TempPathFactory) -> Knowledge:
    """The small knowledge, loaded."""
    return load_knowledge(write_small(tmp_path_factory.mktemp("small")))


@pytest.fixture(scope="session")
def shipped() -> Knowledge:
    """The knowledge that ships."""
    return load_knowledge()
