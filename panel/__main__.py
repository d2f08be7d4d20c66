"""`python -m panel`."""

from panel.cli import app

app()
