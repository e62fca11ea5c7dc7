"""The second language is whole, and everybody reads their own."""

import gettext
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polib
import pytest
from django.test import Client
from django.utils import translation
from pytest_django import Settings

from gearroom.core.models import Person
from gearroom.core.rules.roles import Role
from gearroom.core.setup.languages import compiled
from kits.models import Notice, WithheldKind
from kits.services.kits import holds
from kits.services.mail import composing
from tests import messages
from tests.kits import factories as make
from tests.site.browsing import browser, form_with, post, text_of
from tests.site.every_page import PAGES, address, furnished

CATALOGUES = sorted(messages.LOCALE.glob("*/LC_MESSAGES/django.po"))
_MARKS = re.compile(r"%\(\w+\)[sd]|%%|</?\w+>")
# A capital *Sie* or *Ihr…* that begins no sentence is the formal address.
_FORMAL = re.compile(r"[\w,] (?:Sie|Ihnen|Ihre?[nmrs]?)\b")
_NAMED = re.compile(r"\b(?:COUNT|NAME|KIT|ITEMS?|LENDER|WHEN|TRIP|DAY|SEAL|CODE)\b")


@pytest.fixture(autouse=True)
def english_afterwards() -> Iterator[None]:
    """What the last request of a test activated would stay active for the tests after it."""
    language = translation.get_language()
    yield
    translation.activate(language)


@pytest.fixture(params=CATALOGUES, ids=lambda file: file.parent.parent.name)
def catalogue(request: pytest.FixtureRequest) -> Any:
    return polib.pofile(str(request.param))


@pytest.fixture(scope="module")
def said() -> dict[messages.Text, list[tuple[str, str]]]:
    return messages.texts()


def test_every_text_that_the_program_says_is_in_the_catalogue_and_nothing_else(
    catalogue: Any, said: dict[messages.Text, list[tuple[str, str]]]
) -> None:
    there = {messages.key(entry) for entry in catalogue}

    missing, gone = set(said) - there, there - set(said)

    assert not missing, f"run python -m tests.messages, then translate: {sorted(missing)[:20]}"
    assert not gone, f"nothing says these any more, run python -m tests.messages: {gone}"


def test_every_text_is_translated_and_none_is_a_guess(catalogue: Any) -> None:
    assert [entry.msgid for entry in catalogue if not entry.translated()] == []
    assert [entry.msgid for entry in catalogue if entry.fuzzy] == []


def test_a_translation_names_the_same_facts_as_its_text(catalogue: Any) -> None:
    pairs = [
        (entry.msgid_plural, entry.msgstr_plural[1])
        if entry.msgid_plural
        else (entry.msgid, entry.msgstr)
        for entry in catalogue
    ]

    wrong = [pair for pair in pairs if _facts(pair[0]) != _facts(pair[1])]

    assert wrong == []


def _facts(text: Any) -> list[Any]:
    return [sorted(marks.findall(text)) for marks in (_MARKS, _NAMED)]


def test_german_speaks_to_everybody_as_du() -> None:
    german = polib.pofile(str(messages.LOCALE / "de" / "LC_MESSAGES" / "django.po"))
    texts = [text for entry in german for text in (entry.msgstr, *entry.msgstr_plural.values())]

    assert [text for text in texts if _FORMAL.search(text)] == []


def test_the_extractor_finds_what_templates_and_modules_say() -> None:
    python = '_("a" "b")\nngettext("one", "many", n)\npgettext("where", "c")\n_(name)\n'
    python += 'from django.utils.translation import gettext_lazy as later\nlater("i")\n'
    template = (
        '{% load i18n %}{% translate "d (e)" %}{{ x|default:_("f") }}'
        "{% blocktranslate count n=2 %}g {{ n }}{% plural %}gs {{ n }}{% endblocktranslate %}"
        '{% translate "h" context "there" %}'
    )

    assert {text for _, text in messages.of_python(python)} == {
        messages.Text("", "ab", ""),
        messages.Text("", "one", "many"),
        messages.Text("where", "c", ""),
        messages.Text("", "i", ""),
    }
    assert {text for _, text in messages.of_template(template)} == {
        messages.Text("", "d (e)", ""),
        messages.Text("", "f", ""),
        messages.Text("", "g %(n)s", "gs %(n)s"),
        messages.Text("there", "h", ""),
    }


def test_a_catalogue_is_compiled_without_the_gettext_tools_and_again_when_it_changed(
    tmp_path: Path,
) -> None:
    source, target = tmp_path / "locale", tmp_path / "compiled"
    po = source / "de" / "LC_MESSAGES" / "django.po"
    po.parent.mkdir(parents=True)
    head = 'msgid ""\nmsgstr "Content-Type: text/plain; charset=UTF-8\\n"\n\n'
    for word in ("Verband", "Wundverband"):
        po.write_text(f'{head}msgid "dressing"\nmsgstr "{word}"\n')
        translated = gettext.translation("django", str(compiled(source, target)), ["de"])
        assert translated.gettext("dressing") == word
        vars(gettext)["_translations"].clear()  # the standard library's cache of files by name


@pytest.mark.django_db
def test_whoever_signs_in_is_asked_in_the_browsers_language() -> None:
    make.person("Kim", Role.KEEPER, make.room())
    page = Client().get("/sign-in/", headers={"Accept-Language": "de-CH, de;q=0.9"})

    assert 'lang="de"' in page.content.decode()
    assert "Benutzername" in text_of(page)
    assert "Username" in text_of(Client().get("/sign-in/"))


@pytest.mark.django_db
def test_pages_speak_the_language_that_the_person_chose() -> None:
    world = make.world()
    Person.objects.filter(pk=world.guide.pk).update(language="de")

    page = text_of(browser(world.guide).get("/kits/DAY-01/"))
    assert "Einsatzbereit" in page
    assert f"{make.today().day}. " in page  # a day as German has it
    assert "Ready" in text_of(browser(world.keeper).get("/kits/DAY-01/"))
    assert translation.get_language() == "en-gb"


NAMES = ("Bring it to the Main store", "Bring it to the Cave hut", "in the green?")
GERMAN: dict[str, Any] = {"HTTP_ACCEPT_LANGUAGE": "de-AT, de;q=0.9, en;q=0.5"}


_QUOTED = re.compile(r'<p lang="en">([^<]*)</p>')
"""What is quoted in its own language."""
_ENGLISH = re.compile(
    r"\b(?:the|is|are|and|with|of|not|it|to|from|this|your|for|by|on|has|have)\b[^.]{0,60}"
)
"""Small words that English sentences have and German ones have not."""


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_whoever_never_chose_reads_every_page_in_the_browsers_language(open_database: str) -> None:
    furnished()
    client = browser(make.person("Adm", Role.ADMINISTRATOR), **GERMAN)

    english = []
    for path in PAGES:
        page = client.get(address(path))
        assert '<html lang="de">' in page.content.decode(), path
        words = text_of(page)
        for quoted in _QUOTED.findall(page.content.decode()):
            words = words.replace(" ".join(quoted.split()), "")
        for name in NAMES:
            words = words.replace(name, "")
        english += [f"{path}: {each}" for each in _ENGLISH.findall(words)]

    assert not english, "\n".join(english)


@pytest.mark.django_db
def test_a_language_is_chosen_and_given_up_again_in_ones_settings() -> None:
    world = make.world()
    client, path = browser(world.guide, **GERMAN), f"/people/{world.guide.pk}/"
    fields = form_with(client.get(path), 'name="language"')
    assert fields["language"] == ""
    assert "in der Sprache des Browsers" in text_of(client.get("/settings/"))
    assert "nicht gefunden" in client.get("/api/v1/kits/NOPE/").json()["detail"]

    post(client, path, **{k: v for k, v in fields.items() if k != "key"} | {"language": "en-gb"})
    assert "Pages and emails in English" in text_of(client.get("/settings/"))
    assert "There is no" in client.get("/api/v1/kits/NOPE/").json()["detail"]
    post(client, path, **{k: v for k, v in fields.items() if k != "key"})
    assert "in der Sprache des Browsers" in text_of(client.get("/settings/"))


@pytest.mark.django_db
def test_mails_to_whoever_never_chose_are_in_the_organisations_language(
    settings: Settings,
) -> None:
    world = make.world()
    settings.LANGUAGE_CODE = "de"
    holds.withhold(make.act(world.guide), world.day_01, WithheldKind.SOMETHING_WRONG, "torn")
    notices = list(Notice.objects.filter(kind="something-wrong").select_related("person"))

    written = composing.write(notices)

    assert notices
    assert all("Jemand hat gemeldet" in each.letter.first[0].text for each in written.values())


@pytest.mark.django_db
def test_letters_are_in_the_language_of_whom_they_tell() -> None:
    world = make.world()
    Person.objects.filter(pk=world.keeper.pk).update(language="de")
    holds.withhold(make.act(world.guide), world.day_01, WithheldKind.SOMETHING_WRONG, "strap torn")
    notices = list(Notice.objects.filter(kit=world.day_01).select_related("person"))

    written = composing.write(notices)

    subjects = {n.person.name: written[n.pk].letter.first[0].text for n in notices}
    assert "Jemand hat gemeldet, dass etwas nicht stimmt" in subjects["Kim"]
    assert all("somebody reported" in text for name, text in subjects.items() if name != "Kim")
