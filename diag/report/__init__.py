"""Sheets and pages: results become plain records, and those become text for people or JSON for programs.

`words` holds what people read. May import: every room below, and rich, which nothing else imports.
"""

from diag.report.blocks import Block, Cautions, Cell, Column, Heading, Items, Picture, Sentence, Table
from diag.report.cautions import cautions_of, danger_cautions
from diag.report.customer import CustomerPage, customer_page, page_blocks, page_html, page_pdf
from diag.report.drawn import engine_picture, seal_life_picture
from diag.report.explain import KINDS, item_sheet, list_sheet
from diag.report.figures import (
    chance_words,
    duration,
    money,
    per_cent,
    place_words,
    places_words,
    rounded_to_sum,
    tightening,
)
from diag.report.forms import FORMS, Json, form_schema, sheet_dict, sheet_json
from diag.report.from_case import case_line, condition_words, evidence_lines
from diag.report.from_checks import next_sheet
from diag.report.from_estimate import CSV_COLUMNS, estimate_csv, estimate_sheet
from diag.report.from_knowledge import complaints_sheet, engines_sheet
from diag.report.from_laboratory import laboratory_blocks, laboratory_csv, laboratory_picture, laboratory_sheet
from diag.report.from_log import column_why, log_sheet
from diag.report.from_repair import repair_sheet
from diag.report.from_weighing import weigh_sheet
from diag.report.from_why import why_sheet
from diag.report.from_worksheet import jobs_words, work_sheet
from diag.report.html_worksheet import estimate_html, sheet_html
from diag.report.page import console_for, print_blocks, render
from diag.report.picture_log import log_picture
from diag.report.sheet_print import estimate_pdf, sheet_pdf
from diag.report.sheets import AdviceSheet, CheckLine, FaultLine, NextSheet, RepairSheet, WeighSheet
from diag.report.sheets_knowledge import CasesSheet, ComplaintsSheet, DemoLine, EnginesSheet, ItemSheet, ListSheet
from diag.report.sheets_laboratory import LaboratorySheet
from diag.report.sheets_log import LogSheet
from diag.report.sheets_why import WhySheet
from diag.report.sheets_work import EstimateSheet, WorkSheet
from diag.report.text_advice import advice_blocks
from diag.report.text_knowledge import cases_blocks, complaints_blocks, engines_blocks, item_blocks, list_blocks
from diag.report.text_log import log_blocks
from diag.report.text_next import check_blocks, nearest_sentence, next_blocks, stop_sentence, worth_sentence
from diag.report.text_repair import repair_blocks
from diag.report.text_weigh import chance_sentence, leading_faults, weigh_blocks
from diag.report.text_why import why_blocks
from diag.report.text_worksheet import estimate_blocks, sheet_blocks
from diag.report.words import ABOUT, CHECKS, CUSTOMER, ENGINE_QUESTIONS, EXPORT, MAKERS_VALUE, TALK
from diag.report.words_laboratory import LABORATORY
from diag.report.words_log import LOG, LOG_ASK
from diag.report.words_work import WORK

__all__ = [
    "ABOUT",
    "CHECKS",
    "CSV_COLUMNS",
    "CUSTOMER",
    "ENGINE_QUESTIONS",
    "EXPORT",
    "FORMS",
    "KINDS",
    "LABORATORY",
    "LOG",
    "LOG_ASK",
    "MAKERS_VALUE",
    "TALK",
    "WORK",
    "AdviceSheet",
    "Block",
    "CasesSheet",
    "Cautions",
    "Cell",
    "CheckLine",
    "Column",
    "ComplaintsSheet",
    "CustomerPage",
    "DemoLine",
    "EnginesSheet",
    "EstimateSheet",
    "FaultLine",
    "Heading",
    "ItemSheet",
    "Items",
    "Json",
    "LaboratorySheet",
    "ListSheet",
    "LogSheet",
    "NextSheet",
    "Picture",
    "RepairSheet",
    "Sentence",
    "Table",
    "WeighSheet",
    "WhySheet",
    "WorkSheet",
    "advice_blocks",
    "case_line",
    "cases_blocks",
    "cautions_of",
    "chance_sentence",
    "chance_words",
    "check_blocks",
    "column_why",
    "complaints_blocks",
    "complaints_sheet",
    "condition_words",
    "console_for",
    "customer_page",
    "cylinder_chances",
    "danger_cautions",
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
    "form_schema",
    "item_blocks",
    "item_sheet",
    "jobs_words",
    "laboratory_blocks",
    "laboratory_csv",
    "laboratory_picture",
    "laboratory_sheet",
    "leading_faults",
    "list_blocks",
    "list_sheet",
    "log_blocks",
    "log_picture",
    "log_sheet",
    "money",
    "nearest_sentence",
    "next_blocks",
    "next_sheet",
    "page_blocks",
    "page_html",
    "page_pdf",
    "per_cent",
    "place_words",
    "places_words",
    "print_blocks",
    "render",
    "repair_blocks",
    "repair_sheet",
    "rounded_to_sum",
    "seal_life_picture",
    "sheet_blocks",
    "sheet_dict",
    "sheet_html",
    "sheet_json",
    "sheet_pdf",
    "stop_sentence",
    "tightening",
    "weigh_blocks",
    "weigh_sheet",
    "why_blocks",
    "why_sheet",
    "work_sheet",
    "worth_sentence",
]
