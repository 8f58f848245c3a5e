"""Words for people, all in one place, so that they can be read, corrected and translated.

Sentences hold {names} that `.format` fills. What comes from the knowledge (names of parts, how-to, cautions) is
written there, not here. May import: the standard library only.
"""

from __future__ import annotations

__all__ = [
    "ABOUT",
    "AGO",
    "AMOUNTS",
    "CUSTOMER",
    "EACH",
    "ENGINE_QUESTIONS",
    "EVIDENCE",
    "EXPORT",
    "JUDGED",
    "KIND_OF_ENTRY",
    "KNOW",
    "KNOWLEDGE_KINDS",
    "LIKELIHOOD_SCALE",
    "MAKERS_DATA_FIRST",
    "MAKERS_VALUE",
    "NUMBERS",
    "PICTURES",
    "PLACES",
    "REPAIR",
    "SAID",
    "TALK",
    "WEIGH",
]

LIKELIHOOD_SCALE: tuple[tuple[int, str], ...] = (
    (99, "virtually certain"),
    (90, "very likely"),
    (66, "likely"),
    (33, "about as likely as not"),
    (10, "unlikely"),
    (1, "very unlikely"),
    (0, "exceptionally unlikely"),
)
"""Least whole per cent of each word. The scale of the IPCC guidance note on uncertainties (Mastrandrea et al. 2010),
whose bands overlap; here each chance gets the narrowest band that holds it, so that the words are disjoint."""

JUDGED = "judged, not counted"
SAID = {"present": "yes", "absent": "no"}  # the answers of a test, where they are told as its result
MAKERS_VALUE = "maker's value ____"
MAKERS_DATA_FIRST = (
    "The maker's data, local rules and licensed practice come before anything printed here. "
    "If you are not trained for this work, leave it to someone who is."
)

ABOUT = {
    "invented": "invented engine",
    "demonstration_values": "Demonstration values of an invented engine: valid for no real one.",
    "distance": "{distance_km:,.0f} km",
    "age": "{age_years:year|years}",
    "firing_order": "firing order {order}",
    "cylinder_one": "cylinder 1: {where}",
    "engine": "engine",
    "case": "case",
}

PLACES = {
    "vehicle": "vehicle",
    "bank": "bank {letter}",
    "banks": "banks {letters}",
    "cylinder": "cylinder {number}",
    "cylinders": "cylinders {numbers}",
    "short_cylinder": "cyl. {number}",
    "all_cylinders": "all cylinders",
}

AGO = {
    "days": "{count:day|days} ago",
    "weeks": "{count:week|weeks} ago",
    "months": "{count:month|months} ago",
}

ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")

WEIGH = {
    "cylinders": "Chance that something is wrong, by cylinder",
    "bar_says": "More marks: more likely.",
    "faults": "Faults, likeliest first",
    "fault": "fault",
    "place": "place",
    "chance": "chance",
    "words": "in words",
    "more_faults": "{count:more below {limit}; --all shows it|more below {limit}; --all shows them}.",
    "no_fault": "No single fault reaches {limit}; --all shows all.",
    "combinations": "Likeliest combinations",
    "combination": "what would be wrong",
    "mended": " (before {repairs})",
    "mended_too": " (before {repairs} too)",
    "the_repair": "the repair",
    "its_repair": "its {nth} repair",
    "nothing_wrong": "nothing wrong",
    "unlisted": "Something that this knowledge does not list: {words} ({per_cent}).",
    "circumstances": "Circumstances",
    "circumstance": "circumstance",
    "dangerous": "dangerous",
    "basis": "These chances are {judged}: the numbers behind them are the judgement of people who know the trade.",
    "leading": "Cylinder {cylinder}: {words} ({per_cent}), first of all {fault}.",
    "none_leading": "No cylinder stands out.",
    "conflict": "These findings are hard to have together with what is listed; look again at the surest-looking ones.",
}

EVIDENCE = {
    "read_at": "{value} at {at}",
    "heading": "What was taken into account",
    "without_effect": "Told, but without effect here",
    "tried": "then done: {work}",
    "since": "since then, {text}",
    "history": "history: {work}",
    "distance": "distance {distance_km:,.0f} km",
    "age": "age {age_years:year|years}",
    "present": "present",
    "absent": "absent",
    "not_sure": "not sure",
    "not_looked": "not looked at",
    "above": "above {value}",
    "below": "below {value}",
    "helped": "helped: {helped}",
    "exchanged": "{place} with {other}",
    "but": "but {lapses}",
    "by_place": "{what}, in {unit}: {values}",
    "said_on": "{said} on {places}",
    "helped_no": "no",
    "helped_partly": "partly",
    "helped_yes": "yes",
    "helped_for_a_while": "for a while",
    "helped_worse": "worse",
    "helped_other": "something else now",
    "km_ago": "{km:,.0f} km ago",
    "tells_nothing": "tells nothing",
    "notes": "Notes",
    "under": "{name}, {condition}",
    "nothing": "nothing was told yet",
}

REPAIR = {
    "heading": "What can be done, side by side",
    "option": "option",
    "invoice": "invoice now",
    "cures": "cures it",
    "spread": "What luck may make of it",
    "invoice_range": "invoice, 8 in 10 within",
    "total_middle": "total, half below",
    "bad_luck": "total, 9 in 10 below",
    "nothing_left": "nothing at all left",
    "spread_means": (
        "Drawn {draws:time|times}: what is wrong, what happens on the way, what comes back. "
        "The nine in ten are good to about {error}."
    ),
    "spread_approximate": "So many findings meet here that the draws are approximate; the expected totals are not.",
    "own_side": "The workshop's own side, on average",
    "guarantee": "guarantee work",
    "goodwill": "goodwill",
    "margin": "left of invoice",
    "own_cost": "together",
    "own_side_means": (
        "What it bears itself of what comes back, and what the invoice leaves to it. No part of the expected total, "
        "and nothing on this page was chosen by it. Money in {currency}."
    ),
    "own_side_chosen": (
        "Chosen on the workshop's own side (least guarantee work and goodwill of all that mends something), "
        "not for the customer's expected total. The least of that: {name}, {total}."
    ),
    "short_again": "{months} mo.",
    "columns_mean": (
        "Invoice now: expected, before tax. Cures it: nothing is left that could be behind the complaint. "
        "12, 24, 36 mo.: chance that another seal brings the vehicle back within "
        "so many months. Expected total: invoice, return visits, later failures and the rest. Money in {currency}."
    ),
    "no_better": "Dearer in the end than leaving it (expected total), and mending hardly more: {names}.",
    "part_of_total": "part",
    "cautions_above": "Cautions as above hold here too.",
    "steps_above": "Steps as above.",
    "total": "expected total",
    "barred": "barred",
    "best": "BEST",
    "advice": "Advice: {work}; expected invoice {invoice} ({with_tax} with tax).",
    "advice_nothing": "Advice: nothing now; leave it, and watch it.",
    "check_first": "Repairs alone were set side by side here. Whether a check pays before it is left:",
    "advice_tested": "Untested, this comes to {own} in the end; to {option}, comes to {total}.",
    "after": "Tested first: what follows each result",
    "after_line": "{answers} ({chance}): {work}; invoice {invoice}, expected total {total}",
    "after_same": "The same work follows whatever the test says, so it is paid for nothing.",
    "why_barred": "Barred, whatever the money",
    "plan": "The work",
    "job": "job",
    "place": "place",
    "time": "time",
    "parts_heading": "Parts",
    "part": "part",
    "count": "count",
    "price": "each",
    "sum": "sum",
    "single_use": "new each time",
    "access_heading": "To open",
    "torques": "Values of this engine",
    "steps": "Steps",
    "must_follow_heading": "Must follow",
    "must_follow": "Must follow: {names}",
    "prices_invented": "The prices are made up for the demonstration. Put the workshop's own into a file given with "
    "--overlay, with 'invented: false' among its 'prices:'.",
    "adds_up": "How the expected total comes about",
    "amount": "amount",
    "total_line": "expected total",
    "invoice_line": "of this, invoice now (before tax)",
    "invoice_with_tax": "Of this, expected invoice now: {money}; with tax {with_tax}.",
    "customer_side": "Money in {currency}, before tax, from the customer's side.",
    "nothing": "nothing now",
    "may_go_wrong": "May go wrong on the way",
    "trim_code": "Trim code: number of characters {length}, out of {alphabet}",
    "up_to": "to",
    "later_all": "If a seal goes later: then all seals at once.",
    "later_alone": "If a seal goes later: then only that one.",
    "later_together": "If a seal goes later: then all seals of its bank at once.",
    "later_by_bank": "If a seal goes later: {banks}.",
    "later_short_alone": "only that one",
    "later_short_together": "all of the bank at once",
    "each": "each",
    "short_plan": "As things stand the work would be",
    "see_sheet": "All steps in order, with cautions where they stand, values and boxes:",
    "see_repair": "The work with its cautions, steps and parts:",
    "wait": "After stopping, wait {minutes:g} min and read the pressure as gone.",
    "wait_blank": "After stopping, wait: maker's value ____ (never less than 5 min), and read the pressure as gone.",
    "untimed": "No time and no money is reckoned for opening this, as the engine's file has no minutes for it: {what}.",
}

AMOUNTS = {
    "access": "opening and putting back",
    "labour": "work on it",
    "parts": "parts",
    "charges": "charges",
    "finish": "leak check and road test",
    "complications": "what may go wrong on the way, on average",
    "waiting": "days without the vehicle",
    "come_back": "another visit if something is left, on average",
    "mending": "mending what is left, on average",
    "damage": "damage by driving on, on average",
    "later": "later seals, on average",
}
"""The parts of the expected total, as the objective names them."""

KNOWLEDGE_KINDS = {
    "components": "components and their states",
    "severities": "severities between cause and finding",
    "findings": "findings",
    "readings": "readings",
    "checks": "checks",
    "repairs": "repairs and ways out",
    "engines": "engines",
    "cautions": "cautions",
    "sources": "sources",
    "answers": "soft answers",
    "parts": "parts",
    "steps": "steps of work",
    "log_columns": "columns of a log",
    "log_rules": "rules for logs",
}

KNOW = {
    "id": "id",
    "name": "name",
    "plain": "in plain words",
    "states": "States",
    "levels": "Levels",
    "also": "Of this id there is also",
    "per": "One for each",
    "shows": "Shows",
    "codes": "Fault code",
    "codes_of_cylinders": "{first} for cylinder 1 to {last} for cylinder {most}",
    "chance_present": "Chance to be present",
    "lasting": "The same luck under all conditions",
    "caused_by": "Caused by",
    "causes": "Can cause",
    "seen_by": "Found by",
    "cured_by": "Cured by",
    "basis": "Numbers",
    "ask": "Question",
    "unit": "Unit",
    "yields": "Brings",
    "renews": "Renews",
    "disturbs": "Disturbs",
    "cylinders": "Cylinders",
    "strength": "{source}, weighs as {strength:case|cases}",
    "no_complaint": "Nothing to complain about.",
    "complaints": "{count:complaint|complaints}",
    "sizes": "What decides the speed",
    "size_engine": "engine",
    "size_cylinders": "cylinders",
    "size_configurations": "shared configurations",
    "size_local_states": "states of one cylinder",
    "size_shared_symptoms": "shared symptoms",
    "title": "what it is about",
    "injectors": "injectors",
    "blanks": "Still blank, printed as {blank}",
    "firing_order": "firing order",
    "demo_cases": "Demo cases (invented)",
    "use_case": "Try: diag advise one_blown_seal",
}

KIND_OF_ENTRY = {
    "components": "a component",
    "severities": "a severity between cause and finding",
    "findings": "a finding",
    "readings": "a reading",
    "checks": "a check",
    "repairs": "a repair or way out",
    "engines": "an engine",
    "cautions": "a caution",
    "sources": "a source",
    "answers": "a soft answer",
    "parts": "a part",
    "steps": "a step of work",
    "log_columns": "a column of a log",
    "log_rules": "a rule for logs",
}

NUMBERS = {
    "or": "or, by another judgement,",
    "how_often": "How often",
    "in_use": "in vehicles in use",
    "fresh": "just renewed",
    "disturbed": "disturbed by other work",
    "life": "How long it lives",
    "scale": "63 in 100 have failed by {scale} {unit}",
    "shape": "Weibull shape {shape} (1: by chance; above: by wear)",
    "unnoticed": "noticed and mended within {unnoticed} {unit}",
    "fails_as": "fails as: {row}",
    "lies": "How the true value lies",
    "of_limit": "times the engine's limit '{limit}'",
    "spread": "{level}: around {middle}, spread {width} {unit} ({shape})",
    "mixture": "{level}, {weight} of them: around {middle}, spread {width} {unit} ({shape})",
    "instrument_heading": "Instrument",
    "instrument": "its error is {error} {unit} (standard deviation)",
    "plausible": "plausible from {lowest} to {highest} {unit}",
    "means": "What it tells",
    "speaks_for": "{times:time|times} likelier where the finding is there than where it is not",
    "speaks_against": "{times:time|times} likelier where the finding is not there than where it is",
    "neither": "nothing: as likely where the finding is there as where it is not",
    "price": "Price, before tax",
    "numbering": "Numbering",
    "limits": "Limits",
    "torques": "Tightening",
    "beware": "Beware",
    "stage": "Where it stands in the work",
    "stages": "{stage}; {each}",
    "tools": "Tools",
    "step_parts": "Parts",
    "recognised": "Recognised by",
    "units": "Units",
    "value": "Value",
}

EACH = {"place": "at every place", "group": "once for what is opened together", "sheet": "once on the sheet"}

TALK = {
    "hello": "Answer what is asked. Words that always work: {words}.",
    "help": (
        "Answers: yes, no, not sure, not looked, or softer ones such as likely or a bit.\n"
        "Of several cylinders: the numbers, such as 2 3 (the others then no); none; or 2 yes, 3 not sure, rest no.\n"
        "Readings: 2.9 mg/stroke, or one for each cylinder with commas; above 60 mL/min where the jar was full.\n"
        "skip: leave this question out\n"
        "next: offer another check\n"
        "why: what this check is worth, and what speaks for the likeliest fault\n"
        "why FAULT [PLACE] [rather than FAULT [PLACE]]: what speaks for a fault and against it, such as why seal 2\n"
        "faults: how things stand\n"
        "repair: what can be done\n"
        "tell [ID]: answer something of your own choice\n"
        "did [ID]: a repair that was tried\n"
        "cannot: this check is not possible on this vehicle; the case keeps it\n"
        "shut: all that was opened for checks is closed again\n"
        "undo: take back the last step\n"
        "save [FILE]: write the case\n"
        "done: end, with the advice\n"
        "quit: end at once"
    ),
    "which_engine": "Which engine? (id, number in the list, or the path of an engine file)",
    "which_distance": "Distance driven? (such as 187000 km; Enter: not known)",
    "which_age": "Age? (such as 11 years; Enter: not known)",
    "which_complaint": "What is the complaint? (numbers or ids with commas; Enter: none of these)",
    "which_place": "Which {scope}? ({places})",
    "which_places": "Which {scope}? ({places}; several by commas, or all)",
    "which_tell": "What was found? (id of a finding or reading; its first letters will do)",
    "which_repair": "What was done? (id of a repair)",
    "exchanged": "{work}, {place} with {other}",
    "which_other": "With which cylinder was it exchanged? ({places})",
    "fault_moved": "What became of the fault: moved along, stayed, or gone? (Enter: not known)",
    "where_fault": "Nothing was told yet by which the fault is known to sit on one of these cylinders; "
    "tell that first, such as 'tell weak_cutout'.",
    "did_it_help": "Did it help? (same, better, worse, other, gone, for a while; Enter: not known)",
    "left_undone": "Was anything left undone? ({lapses}; several by commas; Enter: nothing)",
    "title": "Case in talk",
    "stands": "So far: {faults}.",
    "stands_nothing": "So far nothing stands out.",
    "ask_finding": "{ask}{place} (yes, no, not sure, not looked)",
    "ask_finding_several": "{ask}{place} (which? numbers, none, not sure, not looked)",
    "ask_reading": "{ask}{place} (in {unit})",
    "ask_reading_several": "{ask}{place} (in {unit}, one for each with commas)",
    "ask_codes": "Which fault codes are stored? (such as P0263 P0302; none; not looked)",
    "codes": "fault codes",
    "this_check": "Do this check? (yes, next, why, or another word; 'help' lists them)",
    "still_there": "It can be done all the same: {check}.",
    "no_offer": "No check is offered yet.",
    "no_complaint": "{message}; give its number in the list above, or the id in brackets",
    "help_lists": "; 'help' lists the words",
    "broken_off": "Broken off; what was not saved is not kept.",
    "not_understood": "'{text}' is not an answer here{hint}",
    "taken": "Noted: {what}.",
    "cannot": "not possible here, {check}",
    "shut": "all that was opened is closed again",
    "nothing_open": "Nothing stands open.",
    "not_noted": "Not noted: {what}.",
    "undone": "Taken back: {what}.",
    "nothing_to_undo": "There is nothing to take back.",
    "saved": "Saved to {path}.",
    "save_where": "Save to which file? Say: save FILE",
    "not_saved": "Nothing was written; 'save FILE' would have kept the case.",
    "unsaved_since": "Since the last 'save' nothing was written.",
    "impossible": "That answer cannot be true together with the others, and was taken back: {message}",
    "skipped": "Left out.",
    "what_now": "What now? (a word: repair, tell, did, undo, save, done; 'help' explains them)",
    "no_more_checks": "No further check is left to offer. 'repair' shows what can be done, 'tell' takes more findings.",
    "goodbye": "Done.",
}

ENGINE_QUESTIONS = {
    "id": "Short name of the engine? (small letters, digits and _)",
    "name": "Name as people say it?",
    "layout": "Layout? (inline or V)",
    "cylinders": "How many cylinders?",
    "injector": "Which injectors? (solenoid or piezo)",
    "bank": "Cylinders of bank {letter}, in order? (Enter: {common}, the usual ones; check against the maker)",
    "firing_order": "Firing order? (Enter: {common}, a common one; check against the maker)",
    "firing_order_unknown": "Firing order? (no common one is known here, ask the maker; Enter: {common} for now)",
    "written": "Wrote {path}. What only the maker knows is blank in it, and is printed as '{blank}'.",
    "use_it": "Use it:",
    "use_it_in_file": "In a case file beside it, write 'engine: {name}'.",
}

PICTURES = {
    "engine": "{engine}, from above",
    "front": "front",
    "left": "on the left",
    "right": "on the right",
    "bars": "The fuller the bar, the likelier something is wrong there; a thick frame stands out",
    "fires": "fires no. {place}",
    "access": "opened together: {time}",
    "told": "Cylinder {number}: {words}.",
    "life": "Life of the combustion seals",
    "life_told": "At {use} so many seals of a hundred still hold: {said}. Judged, not counted.",
    "use": "{number} {unit}",
    "today": "today: {use}",
    "across_distance": "kilometres of a seal",
    "across_age": "years of a seal",
    "share": "share of seals that still hold (judged, not counted)",
    "belief": "Belief after each finding",
    "belief_before": "before anything was told",
    "belief_told": "At the end: {said}. Judged, not counted.",
    "options": "What the options may come to in the end",
    "options_told": "{name}: {words}.",
    "options_axis": "total, {currency} before tax: from one in ten below to nine in ten below; the mark: half below",
    "options_words": "half below {middle}, nine in ten below {high}; expected {total}",
    "options_none": "how the options spread cannot be drawn for this case: too much was renewed on one cylinder",
}

CUSTOMER = {
    "written": "Wrote {path}.",
    "there": "{path} is already there and was left as it is; choose another name, or say --replace",
}

EXPORT = {"written": "Wrote {path}: {nodes} variables, {edges} arrows; the numbers are those before any finding."}
