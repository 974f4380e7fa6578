"""How a computation is asked: JSON in, JSON out, and every fault of a question by its place."""

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Any

from pydantic import ConfigDict, TypeAdapter, ValidationError

from fleet.compute.units import BadMeasure

# Keys that mean nothing are refused, and "12" is no number: a misspelt size must not count as
# one that was not measured.
ASKED_STRICTLY = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


@dataclass(frozen=True)
class Fault:
    """What is wrong in a question: where (RFC 6901), what, and a word for programs."""

    pointer: str
    detail: str
    code: str


class BadQuestion(ValueError):
    """A question that cannot be answered as it stands, with every fault found in it."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__("; ".join(f"{one.pointer or 'question'}: {one.detail}" for one in faults))
        self.faults = faults


@dataclass(frozen=True)
class Computation:
    """One named computation. `run` takes what `question` describes and gives `answer`.

    `choices` are the names of alternatives inside a question, which are no part of a fault's place.
    """

    name: str
    about: str
    question: type
    answer: type
    run: Callable[[Any], Any]
    choices: frozenset[str] = frozenset()

    @cached_property
    def _question(self) -> TypeAdapter[Any]:
        return TypeAdapter(self.question)

    @cached_property
    def _answer(self) -> TypeAdapter[Any]:
        return TypeAdapter(self.answer)

    def ask(self, question: bytes) -> Any:
        """The answer to a question in JSON. Raises BadQuestion, naming every fault by its place."""
        try:
            asked = self._question.validate_json(question)
        except ValidationError as error:
            raise BadQuestion(tuple(self._fault(dict(e)) for e in error.errors())) from error
        try:
            return self.run(asked)
        except BadMeasure as error:
            pointer = "/" + error.field.replace(".", "/")
            raise BadQuestion((Fault(pointer, error.message, "bad_measure"),)) from error

    def plain(self, answer: Any) -> Any:
        """An answer as JSON holds it."""
        return self._answer.dump_python(answer, mode="json")

    def schema(self) -> dict[str, Any]:
        """JSON Schemas (2020-12) of the question and the answer."""
        return {
            "computation": self.name,
            "about": self.about,
            "question": self._question.json_schema(),
            "answer": self._answer.json_schema(mode="serialization"),
        }

    def _fault(self, error: dict[str, Any]) -> Fault:
        place = [step for step in error["loc"] if step not in self.choices]
        cause = error.get("ctx", {}).get("error")
        detail, code = str(error["msg"]), str(error["type"])
        if isinstance(cause, BadMeasure):
            # The measure's own name begins with the thing it belongs to, which `loc` has already.
            place += cause.field.split(".")[1:]
            detail, code = cause.message, "bad_measure"
        elif code == "value_error":
            detail = str(cause)
        steps = (str(step).replace("~", "~0").replace("/", "~1") for step in place)
        return Fault("".join(f"/{step}" for step in steps), detail, code)


def faults_said(error: BadQuestion) -> str:
    """The faults as JSON, one object each."""
    return json.dumps({"faults": [asdict(one) for one in error.faults]}, indent=2)
