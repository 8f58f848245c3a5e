"""Words for people about the book of cases. Sentences hold {names} that `.format` fills. May import: nothing."""

from __future__ import annotations

__all__ = ["BOOK", "BOOK_COUNTS", "BOOK_DONE", "CURED_WORDS", "KIND_WORDS", "RETOLD_FACTS", "SURE_WORDS"]

BOOK = {
    "number": "no.",
    "opened": "opened",
    "engine": "engine",
    "state": "state",
    "open": "open",
    "cured": "cured: {cured}",
    "title": "title",
    "found": "what was found",
    "nothing_found": "nothing found",
    "none": "No case in the book is like that.",
    "more": "These are the newest {most}; --most N shows more.",
    "case": "Case {number}: {title}",
    "missing_backup": "Attachments of the book are not there any more, so the backup lacks them. They belong into "
    "{files}; an older backup may still hold them:",
    "missing_export": "Attachments of the book are not there any more, so the export lacks them. They belong into "
    "{files}; an older backup or export may still hold them:",
    "missing_import": "These attachments are not in the export, nor in this book. Their cases came in without them; "
    "import again from a folder that has them, and they come in, too:",
    "engine_beside": "The file of its engine is not there any more, so the engine as the book holds it was written "
    "beside it: {path}.",
    "of_case": "{name}, case {number}",
    "no_title": "without a title",
    "facts": "{engine}; opened {opened}; {state}; revision {revision}.",
    "closed": "closed {closed}, cured: {cured}",
    "is_open": "open",
    "outcome": "How it ended",
    "fitted": "Fitted or done",
    "spent": "Spent",
    "before_tax": "{money} before tax",
    "came_back_from": "A come-back of case {number}.",
    "came_back_in": "It came back: {numbers}.",
    "told": "What was told",
    "remarks": "Remarks",
    "files": "Attached",
    "file": "{name} ({size:byte|bytes})",
    "customer": "Customer: {name}",
    "plate": "plate {plate}",
    "journal": "Journal",
    "revision": "rev.",
    "when": "when (UTC)",
    "who": "by",
    "what": "what",
    "go_on": "Go on with it:",
    "take_back": "Nothing is lost; to take that back, too:",
    "like": "Similar cases, most similar first",
    "likeness": "alike",
    "none_like": "No case in the book can be compared with it.",
    "like_means": (
        "Alike: half by the chances of the faults whichever the cylinder, half by what was found; not by words. "
        "What was found then says nothing sure about this case."
    ),
    "found_words": "{component}: {state}, {place} ({sure})",
    "finding": "{item}, {place}: {answer}",
    "under": "{item}, {condition}",
    "retold": "the case as a whole, anew",
    "no_longer": "no longer: {line}",
    "not_told": "not told",
    "undo": "as it stood at revision {back_to}",
    "linked": "it is a come-back of case {number}",
    "linked_elsewhere": "it is a come-back of a case that is not in this book",
    "erased": "who the customer was has been erased",
    "attached": "{name}",
    "also_in": (
        "The case's own text still names the customer (revisions {revisions}); a journal is not changed. "
        "Write such things into --customer and --plate only."
    ),
    "not_scrubbed": (
        "Another program has the book open, so a copy may be left in its files: "
        "end that program and give the same command again."
    ),
    "not_scrubbed_server": (
        "A server keeps logs and backups of its own; its keeper must see to those ('VACUUM FULL' was done here)."
    ),
    "backups_hold": "Backups and exports made before still hold it.",
    "unweighed": "What was told cannot all be true at once, so it is not among the similar cases.",
    "unchanged": "Nothing in it is new, so nothing was written.",
}

RETOLD_FACTS = {
    "title": "title: {value}",
    "engine_id": "engine: {value}",
    "distance_km": "distance: {value}",
    "age_years": "age: {value}",
    "numbering": "how the control unit numbers the cylinders, anew",
    "trim_codes": "trim codes, anew",
    "open_access": "what is open already, anew",
    "cannot": "checks that cannot be done, anew",
    "note": "note: {value}",
}

BOOK_DONE = {
    "kept": "Kept as case {number}.",
    "added": "Added to case {number}: {count:event|events}.",
    "closed": "Closed.",
    "undone": "Taken back: it stands as at revision {back_to}.",
    "linked": "Noted as a come-back of case {number}.",
    "noted": "Noted.",
    "attached": "Attached: {names}.",
    "attached_already": "The case holds that already; nothing was added.",
    "erased": "Who the customer was has been erased. The journal stays.",
    "scrubbed_again": "There was no customer any more; the files were scrubbed again.",
    "keep": "Kept {path}.",
    "write": "Wrote {path}.",
    "backup": "Backed up to {path}: {counts}.",
    "restore": "Restored from {path}: {counts}.",
    "export": "Exported to {path}: {counts}.",
    "import": "Imported from {path}: {counts}.",
}

BOOK_COUNTS = {
    "cases": "{count:case|cases}",
    "events": "{count:event|events}",
    "files": "{count:attachment|attachments}",
    "customers": "{count:customer|customers}",
    "erased": "{count:customer erased as it was there|customers erased as they were there}",
    "new": "{count:new case|new cases}",
    "grown": "{count:case grown|cases grown}",
    "same": "{count} here already",
}

CURED_WORDS = {"yes": "yes", "partly": "partly", "no": "no", "not_known": "not known"}
SURE_WORDS = {"seen": "seen", "measured": "measured after the repair", "inferred": "inferred"}

KIND_WORDS = {
    "opened": "opened",
    "finding": "finding",
    "reading": "reading",
    "repair": "work",
    "retold": "told anew",
    "undo": "taken back",
    "closed": "closed",
    "linked": "come-back",
    "note": "remark",
    "attached": "attached",
    "erased": "erased",
}
