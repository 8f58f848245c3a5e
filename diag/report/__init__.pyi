from .blocks import Block, Cautions, Cell, Column, Heading, Items, Picture, Sentence, Table
from .cautions import cautions_of, danger_cautions, told_cautions
from .customer import CustomerPage, customer_page, map_of, page_blocks, page_html, page_pdf
from .drawn import course_picture, engine_picture, options_picture, seal_life_picture
from .explain import KINDS, item_sheet, list_sheet
from .figures import (
    at_place,
    at_places,
    chance_words,
    direction,
    duration,
    money,
    per_cent,
    place_words,
    places_words,
    rounded_to_sum,
    tightening,
)
from .forms import FORMS, Json, form_record, form_schema, sheet_dict, sheet_json
from .from_book import book_case_sheet, book_like_sheet, book_list_sheet, journal_words
from .from_case import case_line, condition_words, evidence_lines, work_text
from .from_checks import closed_first_words, next_sheet
from .from_codes import trim_ledger
from .from_debrief import class_csv, class_sheet, debrief_sheet
from .from_doubt import doubt_line, doubt_sentence, doubt_sheet, number_words, value_words
from .from_estimate import CSV_COLUMNS, estimate_csv, estimate_sheet
from .from_knowledge import complaints_sheet, engines_sheet
from .from_laboratory import laboratory_blocks, laboratory_csv, laboratory_picture, laboratory_sheet
from .from_learning import learn_sheet, score_sheet
from .from_log import column_why, log_sheet
from .from_repair import repair_sheet
from .from_table import table_blocks, table_columns_blocks, table_columns_sheet, table_sheet
from .from_training import (
    complaint_words,
    made_sheet,
    plan_words,
    practice_case,
    practice_state_sheet,
    studies_sheet,
    truth_lines,
)
from .from_weighing import weigh_sheet
from .from_why import why_sheet
from .from_worksheet import work_sheet
from .html_worksheet import estimate_html, sheet_html
from .naming import fault_words
from .page import console_for, print_blocks, render
from .picture_log import log_picture
from .picture_paper import picture_pdf
from .print_training import TraineePaper, trainee_html, trainee_pages, trainee_papers, trainee_pdf
from .sheet_print import estimate_pdf, sheet_pdf
from .sheets_advice import AdviceSheet
from .sheets_book import BookCaseSheet, BookDoneSheet, BookLikeSheet, BookListSheet
from .sheets_case import EvidenceLine
from .sheets_checks import CheckLine, NextSheet
from .sheets_doubt import DoubtLine, DoubtSheet
from .sheets_knowledge import CasesSheet, ComplaintsSheet, DemoLine, EnginesSheet, ItemSheet, ListSheet
from .sheets_laboratory import LaboratorySheet
from .sheets_learning import LearnSheet, ScoreSheet
from .sheets_log import LogSheet
from .sheets_repair import OptionLine, RepairSheet
from .sheets_table import TableColumnsSheet, TableSheet
from .sheets_training import ClassSheet, DebriefSheet, MadeSheet, PracticeStateSheet, StudiesSheet
from .sheets_weigh import FaultLine, WeighSheet
from .sheets_why import WhySheet
from .sheets_work import EstimateSheet, WorkSheet
from .text_advice import advice_blocks
from .text_book import book_case_blocks, book_done_blocks, book_like_blocks, book_list_blocks
from .text_codes import ledger_blocks
from .text_debrief import class_blocks, debrief_blocks
from .text_doubt import doubt_blocks
from .text_knowledge import cases_blocks, complaints_blocks, engines_blocks, item_blocks, list_blocks
from .text_learning import learn_blocks, reliability_picture, score_blocks
from .text_log import log_blocks
from .text_next import (
    check_blocks,
    nearest_check,
    nearest_sentence,
    net_with_second,
    next_blocks,
    stop_sentence,
    worth_sentence,
)
from .text_repair import advice_sentence, after_blocks, plan_blocks, repair_blocks
from .text_training import (
    checks_block,
    latest_blocks,
    made_blocks,
    repairs_block,
    state_blocks,
    studies_blocks,
)
from .text_weigh import chance_sentence, leading_faults, told_items, weigh_blocks
from .text_why import why_blocks
from .text_worksheet import estimate_blocks, sheet_blocks
from .words import ABOUT, CUSTOMER, ENGINE_QUESTIONS, EXPORT, MAKERS_VALUE, TALK
from .words_book import BOOK, BOOK_DONE
from .words_checks import CHECKS
from .words_laboratory import LABORATORY
from .words_learning import LEARN
from .words_log import LOG, LOG_ASK
from .words_table import TABLE
from .words_training import PRACTICE, PRACTICE_ASK, PRACTICE_CLASS, PRACTICE_DEBRIEF
from .words_work import WORK
from .work_texts import jobs_words

__all__ = [
    "ABOUT",
    "BOOK",
    "BOOK_DONE",
    "CHECKS",
    "CSV_COLUMNS",
    "CUSTOMER",
    "ENGINE_QUESTIONS",
    "EXPORT",
    "FORMS",
    "KINDS",
    "LABORATORY",
    "LEARN",
    "LOG",
    "LOG_ASK",
    "MAKERS_VALUE",
    "PRACTICE",
    "PRACTICE_ASK",
    "PRACTICE_CLASS",
    "PRACTICE_DEBRIEF",
    "TABLE",
    "TALK",
    "WORK",
    "AdviceSheet",
    "Block",
    "BookCaseSheet",
    "BookDoneSheet",
    "BookLikeSheet",
    "BookListSheet",
    "CasesSheet",
    "Cautions",
    "Cell",
    "CheckLine",
    "ClassSheet",
    "Column",
    "ComplaintsSheet",
    "CustomerPage",
    "DebriefSheet",
    "DemoLine",
    "DoubtLine",
    "DoubtSheet",
    "EnginesSheet",
    "EstimateSheet",
    "EvidenceLine",
    "FaultLine",
    "Heading",
    "ItemSheet",
    "Items",
    "Json",
    "LaboratorySheet",
    "LearnSheet",
    "ListSheet",
    "LogSheet",
    "MadeSheet",
    "NextSheet",
    "OptionLine",
    "Picture",
    "PracticeStateSheet",
    "RepairSheet",
    "ScoreSheet",
    "Sentence",
    "StudiesSheet",
    "Table",
    "TableColumnsSheet",
    "TableSheet",
    "TraineePaper",
    "WeighSheet",
    "WhySheet",
    "WorkSheet",
    "advice_blocks",
    "advice_sentence",
    "after_blocks",
    "at_place",
    "at_places",
    "book_case_blocks",
    "book_case_sheet",
    "book_done_blocks",
    "book_like_blocks",
    "book_like_sheet",
    "book_list_blocks",
    "book_list_sheet",
    "case_line",
    "cases_blocks",
    "cautions_of",
    "chance_sentence",
    "chance_words",
    "check_blocks",
    "checks_block",
    "class_blocks",
    "class_csv",
    "class_sheet",
    "closed_first_words",
    "column_why",
    "complaint_words",
    "complaints_blocks",
    "complaints_sheet",
    "condition_words",
    "console_for",
    "course_picture",
    "customer_page",
    "danger_cautions",
    "debrief_blocks",
    "debrief_sheet",
    "direction",
    "doubt_blocks",
    "doubt_line",
    "doubt_sentence",
    "doubt_sheet",
    "duration",
    "engine_picture",
    "engines_blocks",
    "engines_sheet",
    "estimate_blocks",
    "estimate_csv",
    "estimate_html",
    "estimate_pdf",
    "estimate_sheet",
    "evidence_lines",
    "fault_words",
    "form_record",
    "form_schema",
    "item_blocks",
    "item_sheet",
    "jobs_words",
    "journal_words",
    "laboratory_blocks",
    "laboratory_csv",
    "laboratory_picture",
    "laboratory_sheet",
    "latest_blocks",
    "leading_faults",
    "learn_blocks",
    "learn_sheet",
    "ledger_blocks",
    "list_blocks",
    "list_sheet",
    "log_blocks",
    "log_picture",
    "log_sheet",
    "made_blocks",
    "made_sheet",
    "map_of",
    "money",
    "nearest_check",
    "nearest_sentence",
    "net_with_second",
    "next_blocks",
    "next_sheet",
    "number_words",
    "options_picture",
    "page_blocks",
    "page_html",
    "page_pdf",
    "per_cent",
    "picture_pdf",
    "place_words",
    "places_words",
    "plan_blocks",
    "plan_words",
    "practice_case",
    "practice_state_sheet",
    "print_blocks",
    "reliability_picture",
    "render",
    "repair_blocks",
    "repair_sheet",
    "repairs_block",
    "rounded_to_sum",
    "score_blocks",
    "score_sheet",
    "seal_life_picture",
    "sheet_blocks",
    "sheet_dict",
    "sheet_html",
    "sheet_json",
    "sheet_pdf",
    "state_blocks",
    "stop_sentence",
    "studies_blocks",
    "studies_sheet",
    "table_blocks",
    "table_columns_blocks",
    "table_columns_sheet",
    "table_sheet",
    "tightening",
    "told_cautions",
    "told_items",
    "trainee_html",
    "trainee_pages",
    "trainee_papers",
    "trainee_pdf",
    "trim_ledger",
    "truth_lines",
    "value_words",
    "weigh_blocks",
    "weigh_sheet",
    "why_blocks",
    "why_sheet",
    "work_sheet",
    "work_text",
    "worth_sentence",
]
