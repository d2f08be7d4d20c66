"""The files of a study's bundle: their names, and what stands in each. Written by the export, read by `verify`."""

SEALED = "sealed.json"
COMMITMENT = "commitment.txt"
EVENTS = "events.jsonl"
SENDS = "sends.jsonl"
ANSWERS = "answers.csv"
CHOICES = "choices.csv"
REPORT = "report.json"
KEY = "key.csv"
README = "README.txt"

ABOUT = f"""\
What is in here
{SEALED}    everything the commitment covers; key, seed and nonce are in it from the reveal on
{COMMITMENT} SHA-256 over the canonical JSON of {SEALED} once it is complete
             (keys sorted, no blanks, UTF-8)
{EVENTS}   the log, one event a line; each line's hash covers the one before it
{SENDS}    every send of a phone as it was stored; the log holds a fingerprint of each (from closing on)
{ANSWERS}    every answer by blind letter (from closing on); {CHOICES} for forced choice
{REPORT}    the signed results (from signing on)
{KEY}        which blind letter was which product (from the reveal on)

To check it offline: python -m panel verify THIS.zip
"""
