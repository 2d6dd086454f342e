"""What the field page carries into a garage without signal: the job, its forms, its words."""

from tackfree.service.field.document import field_document, fresh_mark
from tackfree.service.field.forms import FORMS, Ask, Form
from tackfree.service.field.said import field_words

__all__ = ["FORMS", "Ask", "Form", "field_document", "field_words", "fresh_mark"]
