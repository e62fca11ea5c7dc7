"""The second language is whole, and everybody reads their own."""

from __future__ import annotations

import gettext
import re

import polib
import pytest
from django.test import Client
from django.utils import translation

from gearroom.core.languages import compiled
from gearroom.core.models import Person
from kits.models import Notice
from kits.services import keeping, letters
from kits.services.keeping import WithheldKind
from tests import messages
from tests.kits import factories as make
from tests.site.browsing import browser, text_of

CATALOGUES = sorted(messages.LOCALE.glob("*/LC_MESSAGES/django.po"))
_MARKS = re.compile(r"%\(\w+\)[sd]|%%|</?\w+>")
_NAMED = re.compile(r"\b(?:COUNT|NAME|KIT|THINGS?|GIVER|WHEN|TRIP|DAY|SEAL|CODE)\b")


@pytest.fixture(params=CATALOGUES, ids=lambda file: file.parent.parent.name)
def catalogue(request):
    return polib.pofile(str(request.param))


@pytest.fixture(scope="module")
def said():
    return messages.texts()


def test_every_text_that_the_program_says_is_in_the_catalogue_and_nothing_else(catalogue, said):
    there = {messages.key(entry) for entry in catalogue}

    missing, gone = set(said) - there, there - set(said)

    assert not missing, f"run python -m tests.messages, then translate: {sorted(missing)[:20]}"
    assert not gone, f"nothing says these any more, run python -m tests.messages: {gone}"


def test_every_text_is_translated_and_none_is_a_guess(catalogue):
    assert [entry.msgid for entry in catalogue if not entry.translated()] == []
    assert [entry.msgid for entry in catalogue if entry.fuzzy] == []


def test_a_translation_names_the_same_facts_as_its_text(catalogue):
    pairs = [
        (entry.msgid_plural, entry.msgstr_plural[1])
        if entry.msgid_plural
        else (entry.msgid, entry.msgstr)
        for entry in catalogue
    ]

    wrong = [pair for pair in pairs if _facts(pair[0]) != _facts(pair[1])]

    assert wrong == []


def _facts(text):
    return [sorted(marks.findall(text)) for marks in (_MARKS, _NAMED)]


def test_the_extractor_finds_what_templates_and_modules_say():
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


def test_a_catalogue_is_compiled_without_the_gettext_tools_and_again_when_it_changed(tmp_path):
    source, target = tmp_path / "locale", tmp_path / "compiled"
    po = source / "de" / "LC_MESSAGES" / "django.po"
    po.parent.mkdir(parents=True)
    head = 'msgid ""\nmsgstr "Content-Type: text/plain; charset=UTF-8\\n"\n\n'
    for word in ("Verband", "Wundverband"):
        po.write_text(f'{head}msgid "dressing"\nmsgstr "{word}"\n')
        translated = gettext.translation("django", str(compiled(source, target)), ["de"])
        assert translated.gettext("dressing") == word
        gettext._translations.clear()  # the standard library's cache of files by name


@pytest.mark.django_db
def test_whoever_signs_in_is_asked_in_the_browsers_language():
    page = Client().get("/sign-in/", headers={"Accept-Language": "de-CH, de;q=0.9"})

    assert 'lang="de"' in page.content.decode()
    assert "Anmeldename" in text_of(page)
    assert "Name to sign in with" in text_of(Client().get("/sign-in/"))


@pytest.mark.django_db
def test_pages_speak_the_language_that_the_person_chose():
    world = make.world()
    Person.objects.filter(pk=world.guide.pk).update(language="de")

    page = text_of(browser(world.guide).get("/kits/DAY-01/"))
    assert "Einsatzbereit bis einschließlich" in page
    assert f"{make.TODAY.day}. " in page  # a day as German has it
    assert "Fit to go through" in text_of(browser(world.keeper).get("/kits/DAY-01/"))
    assert translation.get_language() == "en-gb"


@pytest.mark.django_db
def test_letters_are_in_the_language_of_whom_they_tell():
    world = make.world()
    Person.objects.filter(pk=world.keeper.pk).update(language="de")
    keeping.withhold(
        make.act(world.guide), world.day_01, WithheldKind.SOMETHING_WRONG, "strap torn"
    )
    notices = list(Notice.objects.filter(kit=world.day_01).select_related("person"))

    written = letters.write(notices)

    subjects = {n.person.name: written[n.pk].letter.first[0].text for n in notices}
    assert "Jemand hat gesagt, dass etwas nicht stimmt" in subjects["Kim"]
    assert all("somebody said" in text for name, text in subjects.items() if name != "Kim")
