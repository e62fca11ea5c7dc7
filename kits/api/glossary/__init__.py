"""What the words of the gear room mean in the API; see `gearroom.core.api.openapi.glossary`."""

from gearroom.core.api.openapi.answer_examples import ANSWERS
from gearroom.core.api.openapi.glossary import FIELDS, PARAMETERS, TAGS
from gearroom.core.api.openapi.problem_examples import PARTICULAR
from kits.api.glossary import addresses, answer_examples, hatch_problems, planning, problems, words

FIELDS.update(words.FIELDS)
FIELDS.update(planning.FIELDS)
PARAMETERS.update(addresses.PARAMETERS)
TAGS.update(addresses.TAGS)
ANSWERS.update(answer_examples.EXAMPLES)
PARTICULAR.extend([*problems.PROBLEMS, *hatch_problems.PROBLEMS])
