"""What a draft's table comes to: a draft, or all that is wrong with its rows at once."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext as _, gettext_lazy, ngettext

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.lists.not_carried import NotCarriedForm, line_of
from gearroom.site.web.lists.packing_lists import version_values
from gearroom.site.web.lists.table_form import FACTS, NEW_LINE
from gearroom.site.web.page import Choice, PageForm, ShortText, WholeNumber
from kits.models import Item
from kits.rules.ledger.facts import Criticality, Kind
from kits.rules.lists.table import NEW, Group, Row, Table
from kits.services.lists import drafts, not_carried
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.lists.not_carried import NotCarriedDraft
from kits.services.stock import catalogue


class WrongRows(Invalid):
    """Rows of a table that cannot be; `faults` has the sentences of each, by the row's id."""

    def __init__(self, faults: Mapping[str, list[str]]) -> None:
        super().__init__(
            ngettext(
                "Nothing has been saved yet: %(n)d row needs attention.",
                "Nothing has been saved yet: %(n)d rows need attention.",
                len(faults),
            )
            % {"n": len(faults)},
            field="order",
        )
        self.faults = dict(faults)


class LineForm(PageForm):
    """A line: how many are carried, the minimum, its priority and why."""

    carry = WholeNumber(least=1, label=gettext_lazy("Carry"))
    never = WholeNumber(required=False, initial=0, label=gettext_lazy("Minimum"))
    matters = Choice(
        Criticality,
        required=False,
        initial=Criticality.ROUTINE,
        message=gettext_lazy("Choose a priority."),
    )
    reason = ShortText()


def _labels(item: str) -> dict[str, str]:
    """What the numbers of a row are called, by its item."""
    if not item:
        return {}
    labels = {"carry": _("%(thing)s, number to carry"), "never": _("%(thing)s, minimum")}
    return {name: label % {"thing": item} for name, label in labels.items()}


def draft_from(act: Act, table: Table, sent: QueryDict) -> Draft:
    """The draft that a table stands for; items that somebody chose to make are made. Raises
    WrongRows."""
    return _Reading(act, table, sent).draft()


class _Reading:
    def __init__(self, act: Act, table: Table, sent: QueryDict) -> None:
        self.act, self.table, self.sent = act, table, sent
        self.faults: dict[str, list[str]] = defaultdict(list)
        self.items = {item.name.casefold(): item for item in Item.objects.all()}

    def draft(self) -> Draft:
        facts: dict[str, Any] = {"people": 1, "days": 1}
        with self._fault_of(FACTS):
            facts = version_values(self.sent)
        groups = [group for group in self.table.groups if not group.head.gone]
        read = [self._section(group) for group in groups]
        heads = [group.head.id for group in groups]
        for at, fault in drafts.section_faults(read):
            self.faults[heads[at]].append(fault.detail)
        left_out = self._left_out({line.item.pk for section in read for line in section.lines})
        if self.faults:
            raise WrongRows(self.faults)
        return Draft(**facts, sections=read, not_carried=left_out)

    def _section(self, group: Group) -> SectionDraft:
        head = group.head
        rows, lines = [], []
        for row in group.rows:
            if (line := self._line(row)) is not None:
                rows.append(row.id)
                lines.append(line)
        section = SectionDraft(
            " ".join(str(head.values["name"])[:80].split()),
            lines,
            "" if head.id.startswith(NEW) else head.id,
            outside=bool(head.values["outside"]),
        )
        for at, fault in drafts.line_faults(section):
            self.faults[rows[at]].append(fault.detail)
        return section

    def _line(self, row: Row) -> LineDraft | None:
        """The line that a row stands for; None for one that is gone, empty or wrong."""
        typed = (row.values[name] != NEW_LINE.get(name, "") for name in row.values)
        if row.gone or (row.id.startswith(NEW) and not any(typed)):
            return None
        name = " ".join(str(row.values["item"]).split())
        item = self._item(row.id, name)
        form = LineForm(self.sent, row=row.id, labels=_labels(name))
        for messages in form.errors.values():
            self.faults[row.id] += map(str, messages)
        if item is None or form.errors:
            return None
        values = form.values()
        return LineDraft(
            item, values["carry"], values["never"], values["matters"], values["reason"]
        )

    def _item(self, row: str, name: str) -> Item | None:
        if not name:
            self.faults[row].append(_("Choose an item, or remove the row."))
            return None
        if (known := self.items.get(name.casefold())) is not None:
            return known
        made = None
        if kind := self.sent.get(f"make-{row}"):
            with self._fault_of(row):
                made = self._made(row, name, kind)
                self.items[name.casefold()] = made
        else:
            says = _("There is no item %(name)s. Choose one from the list, or create it.")
            if not self.act.actor.may("edit_item"):
                says = _("There is no item %(name)s. Choose one from the list.")
            self.faults[row].append(says % {"name": name})
        return made

    def _made(self, row: str, name: str, kind: str) -> Item:
        if kind not in list(Kind):
            raise Invalid(_("Choose what kind of item it is."))
        return catalogue.add_item(
            self.act,
            name=name[:120],
            kind=kind,
            base_unit=self.sent.get(f"unit-{row}", "").strip()[:40] or _("piece"),
            needs_date=f"dated-{row}" in self.sent,
            by_eye=f"loose-{row}" in self.sent,
        )

    def _left_out(self, carried: set[int]) -> list[NotCarriedDraft]:
        rows, lines = [], []
        for row in self.table.left_out:
            typed = any(value for name, value in row.values.items() if name != "why")
            if row.gone or (row.id.startswith(NEW) and not typed):
                continue
            with self._fault_of(row.id):
                lines.append(line_of(self.act, NotCarriedForm(self.sent, row=row.id)))
                rows.append(row.id)
        for check in (not_carried.faults, not_carried.best_carried):
            for at, fault in check(lines, carried):
                self.faults[rows[at]].append(fault.detail)
        return lines

    @contextmanager
    def _fault_of(self, row: str) -> Iterator[None]:
        try:
            yield
        except Problem as fault:
            self.faults[row].append(fault.detail)
