"""Everything that is printed, as PDF in exact millimetres. Pure: frozen dataclasses in, `PrintedSheet` out.

`PrintedSheet.pdf` are the file's bytes, `.pages` their number, `.warnings` plain sentences for the organiser.
Lengths are in mm. Files say the kind of sheet as their title and nothing else; the same input gives the
same bytes. Names of products appear on the fill sheet only.

    cup_labels(labels, sheet, *, start_at=1, shift=(0.0, 0.0), cup_diameter_mm=None, footer_commitment="",
               rehearsal=False, dpi=300, outline=False)
        labels: CupLabel(code, address, place, position) in tray order
        sheet: SHEETS["a4-3x7"] and its like, roll(width, height), or Sheet(name, page_width, page_height,
        top, left, pitch_across, pitch_down, width, height, across, down, round=False)
    fill_sheet(heading_text, entries, commitment, *, rehearsal=False, paper="A4")
        entries: FillEntry(name, maker, lot, note, pour_letter)
    pour_sheet(sheet, *, rehearsal=False, paper="A4")
    serving_sheet(sheet, *, rehearsal=False, paper="A4")
        sheet: PourSheet(heading, commitment, cups, conditions=(), preparation=Preparation(), controls=CONTROLS,
        cautions=(), serving_note="", schedule=None, two_person=False)
        cups: PourCup(code, place, position, pour_letter, condition="")
        preparation: Preparation(per_cup=None, unit="ml", spare_cups=0, loss=0.0, per_batch=None)
    batch_schedule(dues, kitchen, *, opening=None)
        dues: Due(pour_letter, minute, cups=1)
        kitchen: Kitchen(preparation, holding, cups_per_batch, rest=0.0, turnaround=0.0, shared=False)
    ruler_page(sheet, *, shift=(0.0, 0.0))
    tray_maps(maps, *, cup_diameter_mm=None, rehearsal=False, paper="A4")
        maps: TrayMap(place, (TrayCup(code, position, condition=""), ...))
    join_cards(cards, *, rehearsal=False, paper="A4", dpi=300)
        cards: JoinCard(place, address, typed_address, code)
    sitting_poster(heading, address, typed_address, *, network="", rehearsal=False, paper="A4")
    recovery_sheet(code, *, heading_text="", commitment="", paper="A4")
    closing_sheet(heading_text, chain_head, commitment, *, events=None, facts=(), paper="A4")
    paper_ballots(plan, ballots, *, commitment="", rehearsal=False, paper="A4")
        ballots: PaperBallot(place, (BallotTask(codes, condition=""), ...), code="")
    label_table(labels) -> str, CSV
"""

from panel.printing.ballots import BallotTask, PaperBallot, paper_ballots
from panel.printing.batch_schedule import Batch, BatchSchedule, Due, Kitchen, batch_schedule
from panel.printing.cup_labels import CupLabel, cup_labels
from panel.printing.fill_sheet import FillEntry, fill_sheet
from panel.printing.label_table import label_table
from panel.printing.page import PrintedSheet
from panel.printing.place_cards import JoinCard, TrayCup, TrayMap, join_cards, sitting_poster, tray_maps
from panel.printing.pour_sheet import (
    CONTROLS,
    KITCHEN_CAUTIONS,
    Amount,
    Control,
    PourCup,
    PourSheet,
    Preparation,
    amounts,
    pour_sheet,
    serving_sheet,
)
from panel.printing.ruler import ruler_page
from panel.printing.seal_papers import closing_sheet, recovery_sheet
from panel.printing.sheets import SHEETS, Sheet, roll, sheet_problems

__all__ = [
    "CONTROLS",
    "KITCHEN_CAUTIONS",
    "SHEETS",
    "Amount",
    "BallotTask",
    "Batch",
    "BatchSchedule",
    "Control",
    "CupLabel",
    "Due",
    "FillEntry",
    "JoinCard",
    "Kitchen",
    "PaperBallot",
    "PourCup",
    "PourSheet",
    "Preparation",
    "PrintedSheet",
    "Sheet",
    "TrayCup",
    "TrayMap",
    "amounts",
    "batch_schedule",
    "closing_sheet",
    "cup_labels",
    "fill_sheet",
    "join_cards",
    "label_table",
    "paper_ballots",
    "pour_sheet",
    "recovery_sheet",
    "roll",
    "ruler_page",
    "serving_sheet",
    "sheet_problems",
    "sitting_poster",
    "tray_maps",
]
