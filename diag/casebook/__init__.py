"""The case: its records, its file (read, checked and written), its changes, and the demo cases.

May import: `diag.knowledge_base`, `diag.basics`. Units and fault codes live here because a case file needs them;
`diag.evidence` hands them on.
"""

from diag.casebook.cases import (
    ABSENT,
    NOT_LOOKED,
    NOT_SURE,
    PRESENT,
    Answer,
    Case,
    CodeRead,
    CodeState,
    Epoch,
    Fault,
    Helped,
    Measured,
    TrimCode,
    Work,
    Written,
)
from diag.casebook.codes import MOST_CYLINDERS, code_of_cylinder, cylinder_of_code, looks_like_code, plain_code
from diag.casebook.demo import demo_cases
from diag.casebook.edits import (
    answer_of,
    findings_after_exchange,
    symptoms_after,
    with_access,
    with_answer,
    with_helped,
    with_measured,
    with_work,
    without_answer,
)
from diag.casebook.ledger import LedgerRemark, TrimVerdict, ledger_answers, ledger_remarks, trim_verdict, trim_verdicts
from diag.casebook.loading import case_of, load_case, read_case
from diag.casebook.quantities import Quantity, read_quantity
from diag.casebook.schema import Json, case_schema
from diag.casebook.status import StatusByte, state_of_status, status_byte
from diag.casebook.units import DIESEL_DENSITY, convert, known_units, same_unit, units_like
from diag.casebook.words import (
    CONDITIONS,
    FAULTS,
    HELPED,
    answer_id,
    answer_words,
    place_fault,
    place_words,
    scope_of,
    split_condition,
)
from diag.casebook.writing import dump_case, save_case

__all__ = [
    "ABSENT",
    "CONDITIONS",
    "DIESEL_DENSITY",
    "FAULTS",
    "HELPED",
    "MOST_CYLINDERS",
    "NOT_LOOKED",
    "NOT_SURE",
    "PRESENT",
    "Answer",
    "Case",
    "CodeRead",
    "CodeState",
    "Epoch",
    "Fault",
    "Helped",
    "Json",
    "LedgerRemark",
    "Measured",
    "Quantity",
    "StatusByte",
    "TrimCode",
    "TrimVerdict",
    "Work",
    "Written",
    "answer_id",
    "answer_of",
    "answer_words",
    "case_of",
    "case_schema",
    "code_of_cylinder",
    "convert",
    "cylinder_of_code",
    "demo_cases",
    "dump_case",
    "findings_after_exchange",
    "known_units",
    "ledger_answers",
    "ledger_remarks",
    "load_case",
    "looks_like_code",
    "place_fault",
    "place_words",
    "plain_code",
    "read_case",
    "read_quantity",
    "same_unit",
    "save_case",
    "scope_of",
    "split_condition",
    "state_of_status",
    "status_byte",
    "symptoms_after",
    "trim_verdict",
    "trim_verdicts",
    "units_like",
    "with_access",
    "with_answer",
    "with_helped",
    "with_measured",
    "with_work",
    "without_answer",
]
