"""A case that is written reads back as the same case, whatever it holds."""

from __future__ import annotations

import functools
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diag.basics import Place, UsageError
from diag.casebook import (
    CONDITIONS,
    Answer,
    Case,
    Epoch,
    Measured,
    TrimCode,
    Work,
    dump_case,
    load_case,
    read_case,
    save_case,
)
from diag.casebook import scope_of as scope
from diag.knowledge_base import Engine, Knowledge, load_knowledge, shipped_folder

ITEMS = ("rough_idle", "fumes", "chuff", "tar", "bank_silent", "balance_code", "wet_joint")
READINGS = ("correction", "rail_pressure_cranking", "return_flow", "injector_resistance", "boost_deviation")
REPAIRS = ("reseal", "replace_injector", "write_code", "mend_bank_circuit", "replace_filter", "refer", "swap_injectors")
TEXTS = st.text(max_size=30) | st.sampled_from(
    [
        "no",
        "null",
        "1e3",
        "~",
        "-",
        "a: b",
        "# no remark",
        " kept ",
        '"',
        "a\tb\nc",
        "\\",
        "ünïcode 🚚",
        "\x85\u2028\ufeff",
    ]
)


@functools.cache
def _knowledge() -> Knowledge:
    return load_knowledge()


def _place(engine: Engine, per: str) -> st.SearchStrategy[Place]:
    places: dict[str, list[Place]] = {"cylinder": [*engine.cylinders], "bank": [*engine.banks], "vehicle": [None]}
    return st.sampled_from(places[per])


@st.composite
def answers(draw: st.DrawFn, engine: Engine) -> tuple[Answer, ...]:
    words = ["present", "absent", "not_sure", "not_looked", *_knowledge().answers]
    asked: dict[tuple[str, Place, str | None], Answer] = {}
    for _ in range(draw(st.integers(0, 6))):
        item = draw(st.sampled_from(ITEMS))
        key = (item, draw(_place(engine, scope(_knowledge(), item))), draw(st.sampled_from([None, None, *CONDITIONS])))
        asked.setdefault(key, Answer(key[0], key[1], draw(st.sampled_from(words)), key[2]))
    return tuple(asked.values())


@st.composite
def measured(draw: st.DrawFn, engine: Engine) -> tuple[Measured, ...]:
    found = []
    for _ in range(draw(st.integers(0, 5))):
        item = draw(st.sampled_from(READINGS))
        reading = _knowledge().readings[item]
        value = draw(st.floats(reading.lowest, reading.highest))
        place, side = draw(_place(engine, scope(_knowledge(), item))), draw(st.sampled_from(["", "above", "below"]))
        found.append(Measured(item, place, value, reading.unit, side, draw(st.sampled_from([None, "warm"]))))
    return tuple(found)


@st.composite
def works(draw: st.DrawFn, engine: Engine, distance: float | None, age: float | None) -> Work:
    repair = draw(st.sampled_from(REPAIRS))
    place = draw(_place(engine, _knowledge().repairs[repair].on))
    others = [each for each in engine.cylinders if each != place]
    return Work(
        repair,
        place,
        draw(st.none() | st.floats(0, 1e6 if distance is None else distance)),
        draw(st.none() | st.floats(0, 1200 if age is None else 12 * age)),
        None,
        draw(TEXTS),
        draw(st.sampled_from(others)) if _knowledge().repairs[repair].moves else None,
    )


@st.composite
def part_codes(draw: st.DrawFn, engine: Engine) -> tuple[TrimCode, ...]:
    """Codes on parts only: what is stored would add answers, which other tests look at."""
    form = engine.trim_code
    code = st.none() | st.text(form.alphabet or "A", min_size=form.length or 1, max_size=form.length or 1)
    cylinders = draw(st.sets(st.sampled_from(engine.cylinders), max_size=3))
    return tuple(TrimCode(number, part=draw(code), part_before=draw(code)) for number in sorted(cylinders))


@st.composite
def cases(draw: st.DrawFn) -> Case:
    engine_id = draw(st.sampled_from(sorted(_knowledge().engines)))
    engine = _knowledge().engines[engine_id]
    distance, age = draw(st.none() | st.floats(0, 1e6)), draw(st.none() | st.floats(0, 100))
    epochs = [Epoch((), draw(answers(engine)), draw(measured(engine)))]
    for _ in range(draw(st.integers(0, 2))):
        done = draw(st.lists(works(engine, distance, age), min_size=1, max_size=3))
        helped = draw(st.sampled_from([None, "no", "partly", "yes", "for_a_while"]))
        told = tuple(replace(work, helped=draw(st.sampled_from([None, helped]))) for work in done)
        epochs.append(Epoch(told, draw(answers(engine)), draw(measured(engine))))
    return Case(
        title=draw(TEXTS),
        engine=engine,
        engine_id=engine_id,
        distance_km=distance,
        age_years=age,
        history=tuple(draw(st.lists(works(engine, distance, age), max_size=3))),
        epochs=tuple(epochs),
        open_access=draw(st.sampled_from([(), (("covers", "A"),), (("covers", "A"), ("injectors", "A"))])),
        cannot=draw(st.sampled_from([(), ("compression_test",), ("leak_fluid", "bench")])),
        note=draw(TEXTS),
        trim_codes=draw(part_codes(engine)),
    )


@settings(max_examples=120, deadline=None)
@given(cases())
def test_what_is_written_reads_back(case: Case) -> None:
    """Every digit, every order, every odd character; and writing it again gives the same text."""
    text = dump_case(case)
    again = read_case("case.yaml", _knowledge(), text)
    assert again == case
    assert dump_case(again) == text


def test_a_written_case_is_for_people(knowledge: Knowledge) -> None:
    """Short lines, plain words, no quotes where none are needed, numbers without tails of zeros."""
    case = Case(
        title="Skerry van chuffs",
        engine=knowledge.engines["ostrel_4"],
        engine_id="ostrel_4",
        distance_km=187000.0,
        age_years=11.5,
        history=(Work("replace_injector", 3, 12000.0, 4.0), Work("replace_filter", note="on the way")),
        epochs=(
            Epoch(
                (),
                (Answer("rough_idle", None, "present"), Answer("tar", 2, "a_bit"), Answer("tar", 1, "not_looked")),
                (Measured("correction", 2, 2.9, "mg/stroke"), Measured("correction", 2, 3.0, "mg/stroke")),
            ),
            Epoch((Work("reseal", 2, helped="for_a_while"),), (Answer("chuff", 2, "absent", "load"),)),
            Epoch((Work("replace_filter", helped="no"), Work("write_code", 3))),
        ),
        open_access=(("covers", "A"),),
        cannot=("compression_test",),
    )
    assert dump_case(case) == (
        "title: Skerry van chuffs\n"
        "engine: ostrel_4\n"
        "distance: 187000 km\n"
        "age: 11.5 years\n"
        "history:\n"
        "  - {did: replace_injector, cylinder: 3, ago: [4 months, 12000 km]}\n"
        "  - {did: replace_filter, note: on the way}\n"
        "findings:\n"
        "  rough_idle: present\n"
        "  tar: {2: a bit, 1: not looked at}\n"
        "readings:\n"
        "  correction: {2: [2.9 mg/stroke, 3 mg/stroke]}\n"
        "tried:\n"
        "  - did: reseal\n"
        "    cylinder: 2\n"
        "    helped: for a while\n"
        "    then:\n"
        "      findings:\n"
        "        chuff under load: {2: absent}\n"
        "  - {did: replace_filter, helped: no}\n"
        "  - did: write_code\n"
        "    cylinder: 3\n"
        "    together: yes\n"
        "    then:\n"
        "      findings: {}\n"
        "open: [covers A]\n"
        "cannot: [compression_test]\n"
    )


def test_saving_is_whole_or_not_at_all(knowledge: Knowledge, tmp_path: Path) -> None:
    """A file that is there is replaced only where that is wanted, and nothing is left beside it."""
    case = read_case("case.yaml", knowledge, "engine: ostrel_3\nfindings: {fumes: present}\n")
    save_case(case, tmp_path / "case.yaml")
    with pytest.raises(UsageError, match="already there and was left as it is"):
        save_case(case, tmp_path / "case.yaml", overwrite=False)
    save_case(replace(case, title="anew"), tmp_path / "case.yaml")
    assert load_case(tmp_path / "case.yaml", knowledge).title == "anew"
    with pytest.raises(UsageError, match="could not be written"):
        save_case(case, tmp_path / "nowhere" / "case.yaml")
    assert [path.name for path in tmp_path.iterdir()] == ["case.yaml"]


def test_an_engine_file_is_found_again_after_saving(knowledge: Knowledge, tmp_path: Path) -> None:
    """Beside the case by its name, so that the folder can be moved; from elsewhere by its full path."""
    folder, elsewhere = tmp_path / "cases", tmp_path / "elsewhere"
    folder.mkdir()
    elsewhere.mkdir()
    shutil.copy(shipped_folder() / "engines" / "ostrel_3.yaml", folder / "mine.yaml")
    case = read_case(folder / "case.yaml", knowledge, "engine: mine.yaml\n")
    save_case(case, folder / "case.yaml")
    save_case(case, elsewhere / "case.yaml")
    assert (folder / "case.yaml").read_text() == 'engine: "mine.yaml"\n'
    assert load_case(folder / "case.yaml", knowledge) == load_case(elsewhere / "case.yaml", knowledge) == case


@pytest.mark.parametrize("epochs", [(), (Epoch((Work("replace_filter"),)),), (Epoch(), Epoch())])
def test_what_no_file_can_tell_is_a_mistake_of_the_program(knowledge: Knowledge, epochs: tuple[Epoch, ...]) -> None:
    """A first epoch with work, a later one without, or none at all."""
    case = Case("", knowledge.engines["ostrel_3"], "ostrel_3", epochs=epochs)
    with pytest.raises(ValueError, match="every later one begins with work"):
        dump_case(case)


def test_miles_that_come_to_three_decimals_read_back(tmp_path: Path) -> None:
    """500 miles are 804.672 km, which is not 804 thousand."""
    case = read_case("case.yaml", load_knowledge(), "engine: ostrel_4\ndistance: 500 mi\n")
    path = tmp_path / "case.yaml"
    path.write_text(dump_case(case), encoding="utf-8")
    assert load_case(path, load_knowledge()).distance_km == case.distance_km == pytest.approx(804.672)
