"""/api/v1/orders/ and /api/v1/plans/order/: what to order for a season, and orders to suppliers."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import (
    ActBody,
    PageQuery,
    QuerySerializer,
    StrictSerializer,
)
from gearroom.core.api.views import ListView, ReadView, UseCaseView, named
from kits.api import answers, bodies
from kits.api.fields import currency_field, price_field
from kits.models import Order, RoomOrderLevel
from kits.rules.buying.order_lines import Basis
from kits.rules.buying.order_plan import Found
from kits.rules.buying.orders import OrderState
from kits.rules.ledger.facts import Criticality
from kits.services.buying import drafting, ordering
from kits.services.buying.season_order import season_order
from kits.services.lookup import find
from kits.services.orders import orders
from kits.services.orders.orders import OrderStands
from kits.services.stock.order_levels import stock_levels

_PRIORITIES = [each.value for each in Criticality]
_SHORT = "Units that kits are short of without this line."
_LACKING = "Units wanted beyond those that there are, on average, without this line."


def _amount(source: str | None = None, **more: Any) -> Any:
    return serializers.DecimalField(14, 2, source=source, **more)


# ---------------------------------------------------------------------------------------- the plan
class OrderPlanQuery(QuerySerializer):
    room = serializers.CharField(max_length=80, help_text="Name or slug.")
    through = serializers.DateField(help_text="The last day of the season.")
    currency = currency_field(required=True)
    budget = price_field(required=False, help_text="What may be spent at most.")


class OrderPlanLineAnswer(answers.Answer):
    offer = serializers.IntegerField(source="offer.pk")
    item = serializers.IntegerField(source="offer.item_id")
    name = serializers.CharField(source="offer.item.name")
    supplier = serializers.CharField(source="offer.supplier.name")
    packs = serializers.IntegerField(source="line.packs")
    units = serializers.IntegerField(source="line.units")
    cost = _amount("line.cost", help_text="Tax included.")
    for_kits = serializers.IntegerField(
        source="line.for_kits", help_text="Units for kits that are short."
    )
    for_use = serializers.IntegerField(
        source="line.for_use", help_text="Units for use in the season."
    )
    for_class = serializers.IntegerField(
        source="line.for_class", help_text="Units for classes, beside what is set aside for them."
    )
    more = serializers.IntegerField(source="line.more", help_text="Units beyond all of these.")
    basis = serializers.ChoiceField(
        [each.value for each in Basis], help_text="What the use was worked out from."
    )
    wanted_by = serializers.DateField()
    priority = serializers.ChoiceField(_PRIORITIES, source="line.matters")
    short_without = serializers.IntegerField(source="line.without.kits", help_text=_SHORT)
    lacking_without = serializers.FloatField(source="line.without.use", help_text=_LACKING)


class OrderOutlookAnswer(answers.Answer):
    item = serializers.IntegerField(source="item.pk")
    name = serializers.CharField(source="item.name")
    priority = serializers.ChoiceField(_PRIORITIES, source="outlook.matters")
    enough = serializers.BooleanField(source="outlook.enough")
    kits_lack = serializers.IntegerField(source="outlook.kits_lack")
    runs_out = serializers.FloatField(
        source="outlook.runs_out", help_text="The chance that more is used than there is."
    )
    lacked = serializers.FloatField(source="outlook.lacked", help_text="Units, on average.")
    out_of_date = serializers.FloatField(
        source="outlook.out_of_date", help_text="Units that go out of date, on average."
    )
    classes_lack = serializers.IntegerField(source="outlook.classes_lack")
    basis = serializers.ChoiceField([each.value for each in Basis])


class OrderPlanAnswer(answers.Answer):
    room = serializers.CharField(source="room.slug")
    through = serializers.DateField()
    currency = serializers.CharField()
    budget = _amount(allow_null=True)
    lines = OrderPlanLineAnswer(many=True)
    money = _amount(help_text="In all, tax and deliveries included.")
    deliveries = _amount()
    quality = serializers.ChoiceField(
        [each.value for each in Found],
        source="plan.found",
        help_text="`best`: no other comes to noticeably less; `stopped`: the best one found in the "
        "time; `by-hand`: item by item, where each costs least.",
    )
    comes_to = _amount(
        "plan.comes_to", help_text="Its money, what is lacked and what goes out of date, weighed."
    )
    bound = _amount("plan.bound", help_text="No order comes to less than this.")
    outlooks = OrderOutlookAnswer(many=True)
    not_offered = answers.made(
        serializers.ListField,
        lambda of: [item.pk for item in of.not_offered],
        child=serializers.IntegerField(),
        help_text="Items that are wanted and offered by nobody in this currency.",
    )


class SeasonPlan(ReadView):
    reads_as = "receive"
    query = OrderPlanQuery
    shows = OrderPlanAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """What a room should order for a season: worked out, nothing is written."""
        room = find.room(self.actor, query.pop("room"))
        return season_order(self.actor, room, **query)


# -------------------------------------------------------------------------------------- the orders
class OrderLineAnswer(answers.Answer):
    id = serializers.IntegerField(source="line.pk")
    offer = serializers.IntegerField(source="line.offer_id")
    item = serializers.IntegerField(source="line.item_id")
    name = serializers.CharField(source="line.item.name")
    packs = serializers.IntegerField(source="line.packs")
    pack_units = serializers.IntegerField(source="line.pack_units")
    each = _amount("line.each", help_text="What a pack costs, tax included.")
    cost = _amount()
    for_kits = serializers.IntegerField(source="line.for_kits")
    for_use = serializers.IntegerField(source="line.for_use")
    for_class = serializers.IntegerField(source="line.for_class")
    basis = serializers.ChoiceField([each.value for each in Basis], source="line.basis")
    wanted_by = serializers.DateField(source="line.wanted_by", allow_null=True)
    priority = serializers.ChoiceField(_PRIORITIES, source="line.matters", allow_blank=True)
    short_without = serializers.IntegerField(
        source="line.without_kits", allow_null=True, help_text=_SHORT
    )
    lacking_without = serializers.FloatField(
        source="line.without_use", allow_null=True, help_text=_LACKING
    )
    ordered = serializers.IntegerField(source="progress.ordered", help_text="Units.")
    arrived = serializers.IntegerField(source="progress.arrived", help_text="Units.")
    open = serializers.IntegerField(source="progress.open", help_text="Units still to come.")
    extra = serializers.IntegerField(
        source="progress.extra", help_text="Units that came on top of what was ordered."
    )
    cancelled = serializers.IntegerField(source="progress.cancelled", help_text="Units.")


class OrderAnswer(answers.Answer):
    id = serializers.IntegerField(source="order.pk")
    room = serializers.CharField(source="order.room.slug")
    supplier = serializers.CharField(source="order.supplier.name")
    currency = serializers.CharField(source="order.currency")
    state = serializers.ChoiceField([each.value for each in OrderState])
    through = serializers.DateField(source="order.through")
    worked_out_at = serializers.DateTimeField(
        source="order.worked_out_at",
        allow_null=True,
        help_text="When it was last worked out what the lines are for.",
    )
    ordered_on = serializers.DateField(source="order.ordered_on", allow_null=True)
    expected_on = serializers.DateField(source="order.expected_on", allow_null=True)
    goods = _amount()
    delivery = _amount("order.delivery")
    total = _amount()
    revision = serializers.IntegerField(source="order.revision")
    lines = OrderLineAnswer(many=True)


class PacksBody(StrictSerializer):
    offer = serializers.IntegerField(min_value=1)
    packs = serializers.IntegerField(
        min_value=0, max_value=drafting.MOST_PACKS, help_text="0: none."
    )


class OrderDraftBody(ActBody):
    example = {
        "room": "main-store", "through": "2027-06-30", "currency": "GBP",
        "lines": [{"offer": 1, "packs": 2}],
    }  # fmt: skip
    room = serializers.CharField(max_length=80, help_text="Name or slug.")
    through = serializers.DateField(help_text="What lines are for is worked out through this day.")
    currency = currency_field(required=True)
    lines = bodies.lines(PacksBody, drafting.MOST_LINES, allow_empty=False)
    replace = serializers.BooleanField(
        default=False, help_text="They take the place of the room's drafts in this currency."
    )


class OrderLinesBody(ActBody):
    example = {"lines": [{"offer": 1, "packs": 3}]}
    lines = bodies.lines(
        PacksBody,
        drafting.MOST_LINES,
        help_text="What is not named stays. With none, only what the lines are for is worked out.",
    )


class PlaceOrderBody(ActBody):
    example = {"reason": "By telephone."}
    ordered_on = serializers.DateField(required=False, help_text="Today unless given.")
    expected_on = serializers.DateField(
        required=False, help_text="As long as deliveries usually take unless given."
    )


class OrderRestBody(ActBody):
    example = {"line": 1}
    line = serializers.IntegerField(
        required=False, min_value=1, help_text="This line alone; left out: all lines."
    )


class OrdersQuery(PageQuery):
    room = serializers.CharField(required=False, max_length=80)


class OrderDraftsAnswer(answers.Answer):
    orders = OrderAnswer(many=True)


class Orders(ListView, UseCaseView):
    reads_as = "receive"
    query = OrdersQuery
    shows = OrderAnswer
    filters = {"room": named(find.room, "room")}
    use_case = "receive"
    problems = ("draft-open",)
    body = OrderDraftBody
    answers = {201: OrderDraftsAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Order]:
        """The orders of one's rooms, the latest first."""
        return orders.visible_to(self.actor)

    def whole_page(self, page: list[Order]) -> list[OrderStands]:
        """Each as it stands."""
        return [orders.stands(row) for row in page]

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Draft orders, one for each supplier; nothing is ordered by it."""
        room = find.room(act.actor, data.pop("room"))
        packs = packs_of(data.pop("lines"))
        return 201, {"orders": drafting.draft(act, room, packs=packs, **data)}


def packs_of(lines: list[dict[str, Any]]) -> dict[int, int]:
    """How many packs of each offer lines say; the last one counts where an offer stands twice."""
    return {line["offer"]: line["packs"] for line in lines}


class OneOrder(ReadView):
    reads_as = "receive"
    shows = OrderAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """One order, with what became of its lines."""
        return orders.order(self.actor, self.kwargs["id"])


class _OrderView(UseCaseView):
    use_case = "receive"
    answers = {200: OrderAnswer}

    def order(self) -> Order:
        """The order that the address names. Raises NotFound."""
        return orders.order(self.actor, self.kwargs["id"]).order


class ChangeLines(_OrderView):
    problems = ("ordered-already",)
    body = OrderLinesBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Have a draft order so many packs of offers; other lines stay."""
        return 200, drafting.change(act, self.order(), packs_of(data["lines"]))


class PlaceOrder(_OrderView):
    problems = ("order-empty", "ordered-already")
    body = PlaceOrderBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that a draft was ordered from its supplier."""
        return 200, ordering.place(act, self.order(), **data)


class TakeBack(_OrderView):
    problems = ("draft-open", "not-ordered", "order-begun")

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that it was not ordered after all: it is a draft again."""
        return 200, ordering.take_back(act, self.order())


class CancelRest(_OrderView):
    problems = ("not-ordered", "nothing-open")
    body = OrderRestBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that what has not arrived will not come."""
        return 200, ordering.cancel_rest(act, self.order(), **data)


class AwaitAgain(_OrderView):
    problems = ("not-ordered", "nothing-open")
    body = OrderRestBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that what was cancelled is coming after all."""
        return 200, ordering.await_again(act, self.order(), **data)


class Discard(_OrderView):
    problems = ("ordered-already",)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Discard a draft."""
        return 200, drafting.drop(act, self.order())


# -------------------------------------------------------------------------------------- the levels
class OrderLevelBody(ActBody):
    example = {"room": "main-store", "units": 12}
    room = serializers.CharField(max_length=80, help_text="Name or slug.")
    units = serializers.IntegerField(
        min_value=0, max_value=1_000_000, allow_null=True, help_text="null: as for all rooms."
    )


class RoomLevelAnswer(answers.Answer):
    item = serializers.IntegerField(source="item_id")
    room = serializers.CharField(source="room.slug")
    units = serializers.IntegerField(allow_null=True)


class SetOrderLevel(UseCaseView):
    use_case = "receive"
    body = OrderLevelBody
    answers = {200: RoomLevelAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, RoomOrderLevel]:
        """Set at how many units a room orders an item."""
        room, item = find.room(act.actor, data["room"]), find.item(self.kwargs["id"])
        return 200, stock_levels.set_level(act, room, item, data["units"])
