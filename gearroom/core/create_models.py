"""A step of a migration that makes many tables at once."""

from typing import Any

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations import CreateModel
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState


class CreateModels(Operation):
    """Creates models that may refer to each other in any order, with all their constraints.

    Step by step, Django works out all related models anew at each; here they are worked out once.
    """

    def __init__(self, models: list[CreateModel]) -> None:
        self.models = models

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        state.__dict__.pop("apps", None)  # nothing is worked out until somebody asks for it
        for model in self.models:
            model.state_forwards(app_label, state)

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        for model in self._rendered(app_label, schema_editor, to_state):
            schema_editor.create_model(model)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        for model in reversed(self._rendered(app_label, schema_editor, from_state)):
            schema_editor.delete_model(model)

    def _rendered(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, state: ProjectState
    ) -> list[Any]:
        found = [state.apps.get_model(app_label, each.name) for each in self.models]
        alias = schema_editor.connection.alias
        return [model for model in found if self.allow_migrate_model(alias, model)]

    def describe(self) -> str:
        return "Create " + ", ".join(each.name for each in self.models)
