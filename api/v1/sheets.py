"""The changeover sheet as JSON: all that the page says, for any client."""

from rest_framework import serializers

from api.plain import Plain
from fleet.compute.positions import Position
from fleet.compute.results import Fit, Reason
from fleet.compute.vend_tests import FailureBound, VendTestPlan
from fleet.compute.worksheet import Step, Wish


class SheetOut(serializers.Serializer):
    changeover = serializers.IntegerField(source="changeover.pk")
    purpose = serializers.CharField(source="changeover.plan.purpose")
    planned_for = serializers.DateField(source="changeover.plan.planned_for")
    state = serializers.CharField(source="changeover.state")
    machine = serializers.CharField(source="changeover.column.machine.asset_tag")
    column = serializers.CharField(source="changeover.column.position.label")
    selection = serializers.CharField(
        source="changeover.column.selection.code", default=None, allow_null=True
    )
    position = Plain(Position)
    before = Plain(Wish | None, help_text="Null for a column that was never set up.")
    after = Plain(Wish)
    fit = Plain(Fit | None, help_text="Null when the package's sizes contradict each other.")
    steps = Plain(tuple[Step, ...])
    cautions = Plain(tuple[Reason, ...])
    vend_tests = Plain(VendTestPlan)
    asked = Plain(FailureBound, help_text="What the vends that the plan asks for prove.")
    proves = Plain(Reason)
    blanks = Plain(tuple[str, ...], help_text="What is written in by hand.")
