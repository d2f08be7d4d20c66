"""What is wrong with something a person typed, in that person's words."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing to put right.

    field : the name of the form field it is about; "" when it is about the whole form
    code : a stable word for machines
    text : a sentence that says what is wrong and what to do
    """

    field: str
    code: str
    text: str
