"""What the forms of all pages share: ids, dates and decimals as people write them, error words.

A form of a page derives from PlainForm and is shown with ``parts/field.html``. Which answers are
allowed is the desk's business; here only what was typed becomes a value, and nothing typed is lost.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Iterable
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest, QueryDict
from django.utils import dates, formats
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy


class PlainForm(forms.Form):
    """A form without the browser's own bubbles: the server's words are the only ones."""

    use_required_attribute = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if field.error_messages["required"] == forms.Field.default_error_messages["required"]:
                field.error_messages["required"] = _("Fill in “%(label)s”.") % {
                    "label": field.label
                }


def posted(request: HttpRequest) -> QueryDict | None:
    """What a form is bound to: a POST binds it even when nothing was filled in."""
    return request.POST if request.method == "POST" else None


def set_choices(form: forms.Form, name: str, choices: Iterable[tuple[Any, Any]]) -> None:
    """Give a choice field what is to be chosen from today."""
    field = form.fields[name]
    if not isinstance(field, forms.ChoiceField):
        raise TypeError(f"{name} is not a choice")
    field.choices = list(choices)


class PlainDateField(forms.Field):
    """A date in one text box, in any form that can only be read one way.

    ``2 October 2026``, ``2 oct 2026``, ``October 2, 2026``, ``2026-10-02``, ``20261002``; also
    ``13/10/2026`` or ``10.13.2026``, where one number is too large for a month. ``2/10/2026`` is
    refused and both readings are named. A year has four digits.
    """

    widget = forms.TextInput

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault(
            "help_text", gettext_lazy("Write the month as a word, for example 2 October 2026")
        )
        super().__init__(**kwargs)
        self.widget.attrs.setdefault("autocomplete", "off")
        self.widget.attrs.setdefault("spellcheck", "false")

    def to_python(self, value: Any) -> dt.date | None:
        """Turn what was typed into a date."""
        if isinstance(value, dt.date) or value is None:
            return value
        text = str(value).strip()
        return parse_day(text) if text else None

    def prepare_value(self, value: Any) -> Any:
        """Show a stored date with its month as a word; leave typed text as it is."""
        return formats.date_format(value, "DATE_FORMAT") if isinstance(value, dt.date) else value


class PlainDecimalField(forms.Field):
    """A number in a text box with a numeric keypad; comma and point both part the decimals."""

    widget = forms.TextInput

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.widget.attrs.setdefault("inputmode", "decimal")
        self.widget.attrs.setdefault("autocomplete", "off")

    def to_python(self, value: Any) -> Decimal | None:
        """Turn what was typed into an exact decimal."""
        if isinstance(value, Decimal) or value is None:
            return value
        text = _plain(str(value)).replace(" ", "").replace("\u2212", "-")
        if not text:
            return None
        if text.count(",") + text.count(".") > 1:
            raise ValidationError(
                _("Write “%(typed)s” with one comma or point at most, for example 12.5.")
                % {"typed": value}
            )
        try:
            number = Decimal(text.replace(",", "."))
        except InvalidOperation:
            number = Decimal("nan")
        if not number.is_finite():
            raise ValidationError(
                _("“%(typed)s” is not a number. Use digits only, for example 12.5.")
                % {"typed": value}
            )
        return number


def parse_day(text: str) -> dt.date:
    """Read a date that can only be meant one way. ValidationErrors say how to fix it."""
    parts = re.findall(r"[0-9]+|[^\W\d_]+", _plain(text))
    endings = {"st", "nd", "rd", "th"}
    year, month, day = _parts_in_order([part for part in parts if part not in endings], text)
    try:
        return dt.date(year, month, day)
    except ValueError:
        raise ValidationError(
            _("“%(typed)s” is not a day of the calendar. Check the day and the month.")
            % {"typed": text}
        ) from None


def _parts_in_order(parts: list[str], text: str) -> tuple[int, int, int]:
    """Return year, month, day of the three parts of a typed date."""
    if len(parts) == 1 and len(parts[0]) == 8 and parts[0].isdigit():
        parts = [parts[0][:4], parts[0][4:6], parts[0][6:]]
    if len(parts) != 3:
        raise _unreadable(text)
    words = [part for part in parts if not part.isdigit()]
    years = [part for part in parts if part.isdigit() and len(part) == 4]
    if len(years) != 1 or len(words) > 1:
        raise _unreadable(text)
    year = int(years[0])
    if year < 1900:
        raise _unreadable(text)
    rest = [part for part in parts if part is not years[0]]
    if words:
        rest.remove(words[0])
        return year, _month_of(words[0], text), int(rest[0])
    first, second = int(rest[0]), int(rest[1])
    if parts[0] == years[0] or first == second or first > 12:
        # Year first is always followed by the month; otherwise the day is the one above 12.
        return (year, first, second) if parts[0] == years[0] else (year, second, first)
    if second > 12:
        return year, first, second
    raise ValidationError(
        _("“%(typed)s” can be read two ways. Write the month as a word: %(one)s or %(other)s.")
        % {
            "typed": text,
            "one": formats.date_format(dt.date(year, second, first), "DATE_FORMAT"),
            "other": formats.date_format(dt.date(year, first, second), "DATE_FORMAT"),
        }
    )


def _month_of(word: str, text: str) -> int:
    """Return the number of a month named in full or by its first three letters or more."""
    names = {number: _plain(str(name)) for number, name in dates.MONTHS.items()}
    found = [number for number, name in names.items() if len(word) >= 3 and name.startswith(word)]
    if len(found) != 1:
        raise _unreadable(text)
    return found[0]


def _unreadable(text: str) -> ValidationError:
    return ValidationError(
        _("“%(typed)s” cannot be read as a date. Write it like 2 October 2026.") % {"typed": text}
    )


def _plain(text: str) -> str:
    """Return full-width digits and no-break spaces as plain ones, in small letters."""
    return unicodedata.normalize("NFKC", text).casefold().strip()
