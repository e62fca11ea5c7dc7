"""The schema is one document, however many ask for it at the same moment."""

import json

import pytest
from django.core.cache import cache
from django.test import Client

from gearroom.core.api.openapi import document as openapi
from tests.core.api.made import at_once, is_problem

SCHEMA = "/api/v1/schema/"

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


def test_sixty_at_once_get_the_same_whole_document() -> None:
    cache.clear()
    openapi._make_document.cache_clear()
    answers = at_once(60, lambda n: Client().get(SCHEMA))
    assert {answer.status_code for answer in answers} == {200}
    (content,) = {answer.content for answer in answers}
    (tag,) = {answer["ETag"] for answer in answers}
    document = json.loads(content)
    assert document["openapi"] == "3.1.0"
    assert len(document["paths"]) > 100
    openapi._make_document.cache_clear()
    again = Client().get(SCHEMA)
    assert (again.content, again["ETag"]) == (content, tag), "made anew it is the same"


def test_the_language_of_who_asks_first_does_not_matter() -> None:
    cache.clear()
    documents = set()
    for language in ("de", "en-gb"):
        openapi._make_document.cache_clear()
        documents.add(Client(headers={"accept-language": language}).get(SCHEMA).content)
    assert len(documents) == 1


def test_who_has_it_is_not_sent_it_again() -> None:
    cache.clear()
    tag = Client().get(SCHEMA)["ETag"]
    answer = Client().get(SCHEMA, headers={"if-none-match": tag})
    assert (answer.status_code, answer.content, answer["ETag"]) == (304, b"", tag)
    assert Client().get(SCHEMA, headers={"if-none-match": '"x"'}).status_code == 200
    assert Client().head(SCHEMA)["ETag"] == tag
    is_problem(Client().post(SCHEMA), 405, "method-not-allowed")
