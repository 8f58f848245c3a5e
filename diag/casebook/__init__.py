"""The case: its records, its file (read, checked and written), its changes, and the demo cases.

May import: `diag.knowledge_base`, `diag.basics`. Units and fault codes live here because a case file needs them;
`diag.evidence` hands them on.
"""

from diag.casebook.asking import Question, check_questions, is_code, item_places, with_check_open
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
from diag.casebook.codes_told import CodeTold, codes_told, with_codes
from diag.casebook.demo import demo_cases, demo_studies
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
from diag.casebook.numbering import NUMBERING, as_the_maker_numbers, numbering_words
from diag.casebook.quantities import Quantity, read_quantity
from diag.casebook.retelling import history_told, with_history, with_numbering, with_trim_codes, with_vehicle
from diag.casebook.schema import Json, case_schema
from diag.casebook.status import StatusByte, state_of_status, status_byte
from diag.casebook.study_files import StudyFile, TruthTold, load_study
from diag.casebook.units import DIESEL_DENSITY, convert, known_units, same_unit, units_like
from diag.casebook.words import (
    CONDITIONS,
    FAULTS,
    HELPED,
    answer_id,
    answer_words,
    lapses_at,
    lapses_named,
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
    "NUMBERING",
    "PRESENT",
    "Answer",
    "Case",
    "CodeRead",
    "CodeState",
    "CodeTold",
    "Epoch",
    "Fault",
    "Helped",
    "Json",
    "LedgerRemark",
    "Measured",
    "Quantity",
    "Question",
    "StatusByte",
    "StudyFile",
    "TrimCode",
    "TrimVerdict",
    "TruthTold",
    "Work",
    "Written",
    "answer_id",
    "answer_of",
    "answer_words",
    "as_the_maker_numbers",
    "case_of",
    "case_schema",
    "check_questions",
    "code_of_cylinder",
    "codes_told",
    "convert",
    "cylinder_of_code",
    "demo_cases",
    "demo_studies",
    "dump_case",
    "findings_after_exchange",
    "history_told",
    "is_code",
    "item_places",
    "known_units",
    "lapses_at",
    "lapses_named",
    "ledger_answers",
    "ledger_remarks",
    "load_case",
    "load_study",
    "looks_like_code",
    "numbering_words",
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
    "with_check_open",
    "with_codes",
    "with_helped",
    "with_history",
    "with_measured",
    "with_numbering",
    "with_trim_codes",
    "with_vehicle",
    "with_work",
    "without_answer",
]
