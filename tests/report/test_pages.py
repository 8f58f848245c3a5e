"""The pages: nothing is lost, nothing runs over the edge, nothing needs colour."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from rich.cells import cell_len

from diag.casebook import read_case
from diag.decision import advise
from diag.knowledge_base import load_knowledge
from diag.network import weigh
from diag.report import (
    Block,
    Cautions,
    Column,
    Heading,
    Items,
    Sentence,
    Table,
    advice_blocks,
    console_for,
    nearest_sentence,
    next_blocks,
    next_sheet,
    print_blocks,
    render,
    repair_blocks,
    weigh_blocks,
    weigh_sheet,
)
from diag.report.naming import fault_words
from diag.report.sheets_case import EvidenceLine
from diag.report.sheets_repair import SpreadLine
from diag.report.sheets_weigh import CombinationLine, FaultLine, PlacedState, StateLine
from tests.report import stand_ins

PAGES: dict[str, Callable[[], tuple[Block, ...]]] = {
    "weigh": lambda: weigh_blocks(stand_ins.weigh_sheet()),
    "weigh, all, eight cylinders": lambda: weigh_blocks(stand_ins.weigh_sheet(8), everything=True),
    "weigh, five cylinders": lambda: weigh_blocks(stand_ins.weigh_sheet(5)),
    "next": lambda: next_blocks(stand_ins.next_sheet()),
    "next, detail": lambda: next_blocks(stand_ins.next_sheet(), everything=True, detail=True),
    "next, stop": lambda: next_blocks(stand_ins.next_sheet(stop=True)),
    "repair": lambda: repair_blocks(stand_ins.repair_sheet()),
    "repair, tested first": lambda: repair_blocks(stand_ins.tested_sheet()),
    "advise, check first": lambda: advice_blocks(stand_ins.advice_sheet("check")),
    "advise, repair first": lambda: advice_blocks(stand_ins.advice_sheet("repair")),
}


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("width", [40, 52, 64, 80, 110])
def test_no_line_is_wider_than_the_terminal(name: str, width: int) -> None:
    assert max(cell_len(line) for line in render(PAGES[name](), width).splitlines()) <= width


@pytest.mark.parametrize("name", PAGES)
def test_a_narrow_page_holds_every_word_of_the_wide_one(name: str) -> None:
    page = PAGES[name]()
    headings = {
        word
        for block in page
        if isinstance(block, Table)
        for column in block.columns
        for word in re.findall(r"\w+", column.heading)
    }
    assert _words(render(page, 110)) - _words(render(page, 40)) <= headings


def _words(text: str) -> set[str]:
    return set(re.findall(r"\w+", text))


@pytest.mark.parametrize("name", PAGES)
def test_no_page_leaves_spaces_at_the_end_of_a_line(name: str) -> None:
    assert all(line == line.rstrip() for line in render(PAGES[name](), 80).splitlines())


def test_a_pipe_gets_no_escape_sequences() -> None:
    stream = io.StringIO()
    print_blocks(PAGES["repair"](), console_for(stream, width=80))
    assert "\x1b" not in stream.getvalue()


def test_what_steers_a_terminal_is_not_printed() -> None:
    """A title of a file from elsewhere may hold it: nothing may clear the screen, or hide a caution."""
    blocks = [
        Heading("a \x1b[2Jtitle", 1),
        Items("la\x9bbel", ("one\x07", "two\u2028more")),
        Table((Column("he\x1bad"),), (("ce\x1b]0;ll",),)),
        Cautions(("do\x08 not",)),
    ]
    printed = render(blocks)
    assert not [character for character in printed if not character.isprintable() and character != "\n"]
    for words in ("a [2Jtitle", "label", "two more", "head", "ce]0;ll", "CAUTION: do not"):
        assert words in printed


def test_the_likeliest_fault_and_its_cylinder_stand_in_words() -> None:
    page = render(PAGES["weigh"]())
    assert "Cylinder 2: very likely (93 %), first of all combustion seal: blown." in page
    assert "judged, not counted" in page


def test_an_age_in_months_has_one_decimal_at_the_head() -> None:
    case = replace(stand_ins.repair_sheet().case, age_years=11 + 4 / 12)
    page = render(repair_blocks(replace(stand_ins.repair_sheet(), case=case)), 110)
    assert "; 11.3 years;" in page


def test_a_circumstance_is_not_listed_among_the_faults() -> None:
    faults, circumstances = render(PAGES["weigh"]()).split("Circumstances")
    assert "stress on the seals" not in faults
    assert "stress on the seals" in circumstances


def test_a_dangerous_state_says_so() -> None:
    assert "injector: stuck open (dangerous)" in render(PAGES["weigh"]())


def test_what_was_told_of_one_thing_stands_on_one_line() -> None:
    page = render(PAGES["weigh"](), 110)
    assert "chuffing, engine cold: present on cylinder 2; absent on cylinders 1 and 3" in page
    assert "Told, but without effect here: black tar: not looked at on cylinder 4" in page


def test_numbers_of_several_cylinders_name_their_unit_once_and_stand_in_order() -> None:
    """Also where the unit is of two words, and where a jar was full."""
    said = {3: "0 per cent", 1: "26 per cent", 2: "above 30 per cent"}
    lines = tuple(EvidenceLine("compression", place, words, True, "", "per cent") for place, words in said.items())
    page = render(weigh_blocks(replace(stand_ins.weigh_sheet(), evidence=lines)), 110)
    assert "compression, in per cent: cyl. 1 26, cyl. 2 above 30, cyl. 3 0" in page


def test_what_was_told_again_after_a_repair_stands_after_it() -> None:
    idle = EvidenceLine("rough idle", None, "present", used=True, note="")
    done = EvidenceLine("then done: reseal the injector, cylinder 2", None, "", used=True, note="", after=1)
    told = (idle, done, replace(idle, after=1))
    page = render(weigh_blocks(replace(stand_ins.weigh_sheet(), evidence=told)), 110)
    assert (
        "- rough idle: present\n  - then done: reseal the injector, cylinder 2\n  - since then, rough idle: pres"
        in page
    )


def test_a_state_that_a_repair_left_as_it_was_is_named_once() -> None:
    now = PlacedState("wiring", "open", 2, "wiring, cyl. 2: open")
    before = replace(now, words=f"{now.words} (before the repair)", before="the repair")
    sheet = replace(stand_ins.weigh_sheet(), combinations=(CombinationLine((now, before), 0.5),))
    assert re.search(r"wiring, cyl. 2: open \(before the repair too\) +50 %", render(weigh_blocks(sheet), 110))


def test_what_was_repaired_twice_says_before_which_repair_it_was_so() -> None:
    """Resealed, then a new injector with a new seal: three seals, of which any may have been wrong."""
    told = (
        "engine: ostrel_4\nfindings: {fumes: present, chuff: {2: present}, bubbles: {2: present}}\ntried:\n"
        "  - {did: reseal, cylinder: 2, helped: no, then: {findings: {fumes: present, chuff: {2: present}}}}\n"
        "  - {did: replace_injector, cylinder: 2, helped: for a while}\n"
    )
    knowledge = load_knowledge()
    case = read_case(Path("case.yaml"), knowledge, told)
    sheet = weigh_sheet(weigh(knowledge, case, combinations=40))
    whole = render(weigh_blocks(sheet, everything=True), 400)
    rows = [row for row in whole.splitlines() if "(before its" in row]
    assert any("(before its first repair)" in row for row in rows)
    assert any("(before its second repair)" in row for row in rows)
    assert "before the repair" not in whole
    assert ") (" not in "".join(rows)
    for line in sheet.combinations:
        marked = [(one.component, one.place, one.before) for one in line.faults]
        assert len(marked) == len(set(marked)), "the same thing twice at one time"


def test_the_vehicle_as_a_whole_is_not_named_as_a_place_in_sentences() -> None:
    first = stand_ins.check_line("ask how it starts", place=None)
    page = render(next_blocks(replace(stand_ins.next_sheet(), checks=(first,))), 110)
    assert "Check next: ask how it starts.\n" in page


def test_a_fault_that_is_called_dangerous_names_the_state_that_is() -> None:
    """An injector that returns too much is no danger, one that stands open is, though it is the unlikelier by far."""
    states = (
        StateLine("sound", "sound", 0.0),
        StateLine("excess_return", "excess return", 0.88),
        StateLine("restricted", "restricted", 0.03),
        StateLine("stuck_open", "stuck open", 0.09, dangerous=True),
    )
    fault = FaultLine("injector", "injector", 5, 1.0, "certain", states, True, True, True, True)
    assert fault_words(fault) == "injector: excess return or stuck open (dangerous)"
    assert fault_words(replace(fault, dangerous=False)) == "injector: excess return"


def test_what_must_be_closed_before_a_check_stands_before_how_it_is_done() -> None:
    line = replace(stand_ins.check_line("listen"), closes=("injectors bare, bank A",))
    page = render(next_blocks(replace(stand_ins.next_sheet(), checks=(line,))), 110)
    told = page.partition("Check next: listen")[2]
    assert "Stands open; close it before the engine turns: injectors bare, bank A" in " ".join(told.split())
    assert told.index("Stands open; close it") < told.index(line.how)
    wide = render(next_blocks(replace(stand_ins.next_sheet(), checks=(line,))), 400)
    assert "engine covers over the wells off; closed first: injectors bare, bank A" in wide


def test_options_that_mend_no_more_than_leaving_it_have_no_line_of_their_own() -> None:
    best, code = stand_ins.option_line("reseal", best=True), stand_ins.option_line("only the code")
    leaving = replace(stand_ins.option_line("nothing now"), jobs=(), cures=0.1, total=700.0)
    useless = replace(code, cures=0.11, total=780.0)
    page = render(repair_blocks(replace(stand_ins.repair_sheet(), options=(best, leaving, useless))), 110)
    assert "mending hardly more: only the code (780)." in page
    barred = replace(leaving, barred="exhaust gas in the cabin")
    page = render(repair_blocks(replace(stand_ins.repair_sheet(), options=(best, barred, useless))), 110)
    assert "mending hardly more" not in page


def test_nothing_to_do_has_no_invoice() -> None:
    plan = replace(stand_ins.plan_line(), jobs=(), access=(), parts=(), torques=(), notes=(), invoice=0.0)
    page = render(repair_blocks(replace(stand_ins.repair_sheet(), plan=plan)), 110)
    assert "Advice: nothing now; leave it, and watch it." in page
    assert "Whether a check pays before it is left: diag next CASE" in " ".join(page.split())
    assert "Whether a check pays" not in render(PAGES["repair"]())
    assert "expected invoice" not in page


def test_a_ranking_that_is_approximate_says_so() -> None:
    exact, rough = stand_ins.next_sheet(), replace(stand_ins.next_sheet(), laid_aside=3, off=0.02)
    assert "approximate" not in render(next_blocks(exact))
    assert "3 of them were weighed one by one" in render(next_blocks(rough), 200)


def test_the_first_check_is_shown_with_its_cautions_before_how_it_is_done() -> None:
    page = render(PAGES["next"](), 200)
    assert page.index(stand_ins.CAUTION) < page.index("Take the covers off")


def test_checks_that_pay_only_together_say_by_what_they_are_ordered() -> None:
    alone, first = stand_ins.check_line("alone", net=4.0), stand_ins.check_line("first of two", net=-6.0)
    first = replace(first, ahead=18.0, follow="the other")
    sheet = replace(stand_ins.next_sheet(), checks=(first, replace(alone, ahead=4.0)))
    page = render(next_blocks(sheet), 200)
    rows = [line.split() for line in page.splitlines() if "engine covers" in line]
    assert rows[0][-2:] == ["-6", "18"]
    assert rows[1][-1] == "4", "what is worth its cost alone has nothing there"
    assert "with a 2nd" in page and "the order goes by it" in page
    assert "with a 2nd" not in render(next_blocks(replace(sheet, checks=(alone,))), 200)
    whole = render(advice_blocks(replace(stand_ins.advice_sheet("check"), next=sheet)), 200)
    assert "Check next: first of two, all cylinders, 28 min; with a second check after it net 18 EUR." in whole


def test_where_no_answer_would_change_anything_no_check_is_the_nearest() -> None:
    line = replace(stand_ins.check_line("listen", net=-4.9), worth=0.4)
    assert "the nearest" not in nearest_sentence([line], "EUR").lower()
    assert "as one EUR" in nearest_sentence([line], "EUR")
    assert nearest_sentence([replace(line, worth=4.0)], "EUR").startswith("The nearest to it: listen")


def test_a_cheap_check_that_tells_nothing_does_not_speak_for_all_others() -> None:
    """It stands first because it costs least; a dearer one below it is worth twelve."""
    cheap = replace(stand_ins.check_line("listen", net=-4.9), worth=0.0)
    dear = replace(stand_ins.check_line("look", net=-19.0), worth=12.0)
    assert nearest_sentence([cheap, dear], "EUR").startswith("The nearest to it: look")


def test_detail_shows_the_cautions_of_every_check() -> None:
    assert render(PAGES["next, detail"](), 200).count(stand_ins.CAUTION) == 9


def test_it_says_so_when_checking_should_stop() -> None:
    page = render(PAGES["next, stop"]())
    assert "Stop checking, repair now" in page
    assert "Take the covers off" not in page


def test_the_options_say_which_is_best_and_which_is_barred_and_why() -> None:
    page = render(PAGES["repair"](), 110)
    assert "BEST: only the seal of cylinder 2" in page
    assert "nothing now, watch it (barred)" in page
    assert "exhaust gas in the cabin: nothing now, watch it" in page


def test_the_printed_parts_of_the_total_add_up_to_the_printed_total() -> None:
    money = render(PAGES["repair"](), 110).split("How the expected total comes about")[1]
    amounts = [int(line.split()[-2]) for line in money.splitlines() if line.endswith("EUR")]
    assert sum(amounts[:-1]) == amounts[-1] == round(stand_ins.plan_line().total)


def test_the_work_shows_cautions_steps_parts_blanks_and_what_must_follow() -> None:
    page = render(PAGES["repair"](), 200)
    for words in (
        "CAUTION: Do not drive with people in it.",
        f"CAUTION: {stand_ins.CAUTION}",
        "1. Wait until the pressure has gone.",
        "washer (new each time)",
        "clamp bolt: maker's value ____",
        "Must follow: write the trim code",
        "valid for no real one",
        "36 min",
    ):
        assert words in page


def test_advice_shows_in_full_what_is_to_be_done_first() -> None:
    checking, repairing = render(PAGES["advise, check first"](), 200), render(PAGES["advise, repair first"](), 200)
    assert "Take the covers off" in checking
    assert "Draw the injector gently." not in checking
    assert "Take the covers off" not in repairing
    assert "Draw the injector gently." in repairing


def test_a_table_that_does_not_fit_is_told_row_by_row() -> None:
    columns = (Column("fault"), Column("place", speaks=True), Column("chance", right=True))
    table = Table(columns, (("combustion seal that has blown", "cyl. 2", "93 %"),))
    assert render([table], 40) == "combustion seal that has blown\n  cyl. 2, chance 93 %\n"


def test_a_page_is_never_laid_out_for_less_than_forty_columns() -> None:
    blocks = (Heading("Title"), Sentence("words " * 30))
    assert render(blocks, 7) == render(blocks, 40)


def test_what_follows_each_result_of_a_test_stands_beside_the_options() -> None:
    page = " ".join(render(repair_blocks(stand_ins.tested_sheet()), 100).split())
    assert "Tested first: what follows each result" in page
    one = "fails on the test bench, cylinder 2: yes (70 %): replace the injector, cylinder 2; write the trim code, "
    assert one + "cylinder 2; invoice 690 EUR, expected total 1,794 EUR" in page
    assert "cylinder 2: no (30 %): reseal the injector, cylinder 2; invoice 263 EUR, expected total 1,777 EUR" in page
    assert "whatever the test says" not in page
    assert "Tested first" not in render(repair_blocks(stand_ins.repair_sheet()), 100)
    barred = stand_ins.tested_sheet()
    barred = replace(barred, options=(replace(barred.options[0], barred="it may set fire"), *barred.options[1:]))
    assert "Tested first" not in render(repair_blocks(barred), 100)
    same = " ".join(render(repair_blocks(stand_ins.tested_sheet(same=True)), 100).split())
    assert "The same work follows whatever the test says, so it is paid for nothing." in same


@pytest.mark.parametrize(("low", "high", "said"), [(80.0, 80.2, "80"), (0.0, 0.3, "0"), (166.2, 254.8, "166-255")])
def test_an_invoice_that_luck_does_not_touch_is_one_number(low: float, high: float, said: str) -> None:
    sheet = stand_ins.repair_sheet()
    spread = SpreadLine(0.5, low, low, high, 100, 200, 300, 5, 210, 2, 4000, 0.0, False, 1, 1, 1)
    options = (replace(sheet.options[0], spread=spread), *sheet.options[1:])
    page = render(repair_blocks(replace(sheet, options=options)), 110)
    row = next(line for line in page.partition("What luck may make of it")[2].splitlines() if "300" in line)
    assert row.split("300")[0].split()[-2:] == [said, "200"]


def test_where_it_has_to_stand_nobody_is_told_to_repair_and_the_ranking_is_shown() -> None:
    """No repair is sure enough against the danger and no check pays: 'repair now' would stand over nothing to repair.
    The cause has to be found all the same, so the way on stands there."""
    findings = "{cabin_smell: likely, no_start: hardly}"
    text = f"title: t\nengine: ostrel_4\ndistance: 15000 km\nage: 5 years\nfindings: {findings}\n"
    knowledge = load_knowledge()
    case = read_case("stands.yaml", knowledge, text)
    weighed = weigh(knowledge, case)
    advice = advise(knowledge, case, weighed.network, weighed.posterior)
    assert advice.repair.best.name == "stop_driving" and advice.check is None
    sheet = next_sheet(knowledge, case, advice)
    assert sheet.way_out == "stand" and not sheet.repairs
    page = render(advice_blocks(replace(stand_ins.advice_sheet("repair"), next=sheet)), 200)
    assert "repair now" not in page
    assert "let it stand" in page and "the cause has to be found" in page
    assert sheet.checks[0].name in page and "Worth: what the answer saves" in page


def test_of_equally_likely_cylinders_rounding_does_not_choose_the_first() -> None:
    sheet = stand_ins.weigh_sheet()
    chances = {1: 0.9232669683380879, 2: 0.05, 3: 0.9232669683380881, 4: 0.9232669683380880}
    lines = tuple(replace(line, chance=chances[line.cylinder]) for line in sheet.cylinders)
    page = render(weigh_blocks(replace(sheet, cylinders=lines)), 110)
    assert [int(found) for found in re.findall(r"^Cylinder (\d+):", page, re.MULTILINE)] == [1, 3, 4]
