"""The report to take along: as PDF where this machine can draw one, as one file, and the running title for paper."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from panel.printing.browser_pdf import PAPERS, NoBrowserError, pdf_of
from panel.store import studies
from panel.web.access import AnalystsStudy
from panel.web.pages import InHouse, notice
from panel.web.report_file import report_file, running_title

router = APIRouter()


@router.get("/studies/{study_id}/report.pdf")
def report_as_pdf(request: Request, house: InHouse, study: AnalystsStudy, paper: str = "A4") -> Response:
    chosen = next((name for name in PAPERS if name.lower() == paper.lower()), PAPERS[0])
    try:
        pdf = pdf_of(report_file(house, study, chosen))
    except NoBrowserError as error:
        back = f"/studies/{study.id}/report"
        return notice(request, 503, "No PDF from this machine", str(error), back, "Back to the report")
    return _download(pdf, "application/pdf", f"report-{study.id}.pdf")


@router.get("/studies/{study_id}/report.html")
def report_as_one_file(house: InHouse, study: AnalystsStudy) -> Response:
    return _download(
        report_file(house, study).encode("utf-8"), "text/html; charset=utf-8", f"report-{study.id}.html"
    )


@router.get("/studies/{study_id}/report/running.css")
def running_style(study: AnalystsStudy) -> Response:
    """Title and standing for the margins of the report's own page when it is printed."""
    studies.require_results(study)
    return Response(running_title(study), media_type="text/css", headers={"Cache-Control": "no-store"})


def _download(content: bytes, kind: str, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response(content, media_type=kind, headers=headers)
