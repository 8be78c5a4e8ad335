"""One language: its catalogue and its ways to write dates, spans and money. Pages and letters use the same.

Catalogues are read from the .po files at start-up, so that there is no build step and none can be out of date.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from functools import cache, lru_cache
from zoneinfo import ZoneInfo

from babel import Locale, dates, numbers
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import NullTranslations, Translations

from portal import resources
from portal.rules.money import Price
from portal.rules.sentences import Sentence
from portal.rules.windows import Between

SOURCE = "en"  # the language the templates are written in


@dataclass(frozen=True)
class Language:
    """A language in a shop's time zone. `tag` is BCP 47 ("de-CH"), as the `lang` attribute wants it."""

    tag: str
    zone: ZoneInfo
    locale: Locale
    translations: NullTranslations

    def gettext(self, text: str) -> str:
        """The text in this language."""
        return str(self.translations.gettext(text))

    def ngettext(self, one: str, many: str, count: int) -> str:
        """The text for a count in this language."""
        return str(self.translations.ngettext(one, many, count))

    def say(self, sentence: Sentence | str) -> str:
        """A sentence of the rules in this language, with its facts: sentences, and the policy's texts by language."""
        if isinstance(sentence, str):
            return sentence
        return self.gettext(sentence.template).format(
            **{name: self._fact(fact) for name, fact in sentence.facts.items()}
        )

    def words(self, texts: Mapping[str, str]) -> str:
        """The policy's text in this language; where it has none, its first."""
        base = self.tag.split("-")[0]
        return texts.get(self.tag) or texts.get(base) or next(iter(texts.values()), "")

    def moment(self, at: datetime) -> str:
        """Day and hour in the shop's zone: “Tue 8 Dec 2026, 14:05”."""
        local = at.astimezone(self.zone)
        return f"{self.day(local.date())}, {self.hour(local.time())}"

    def stamp(self, at: datetime) -> str:
        """The same without the year, as a stamp on paper: “Tue 8 Dec, 14:05”."""
        local = at.astimezone(self.zone)
        return f"{_day('MMMEd', local.date(), self.locale)}, {self.hour(local.time())}"

    def day(self, day: date) -> str:
        """A day with its weekday."""
        return _day("yMMMEd", day, self.locale)

    def between(self, first: date, last: date) -> str:
        """From a day to another, to be read: “between Tuesday 8 and Friday 11 December”; the year is not said."""
        if first == last:
            return self.gettext("on {day}").format(day=self._day_in_full(first))
        begins = self._day_in_full(first)
        if (first.year, first.month) == (last.year, last.month):
            begins = self.gettext("{weekday} {number}").format(weekday=self._weekday(first), number=first.day)
        return self.gettext("between {first} and {last}").format(first=begins, last=self._day_in_full(last))

    def days_briefly(self, first: date, last: date) -> str:
        """The same in as few signs as will do: “8–11 Dec”."""
        return str(dates.format_interval(first, last, "MMMd", locale=self.locale))

    def _day_in_full(self, day: date) -> str:
        return self.gettext("{weekday} {day}").format(weekday=self._weekday(day), day=_day("MMMMd", day, self.locale))

    def _weekday(self, day: date) -> str:
        return str(dates.get_day_names("wide", locale=self.locale)[day.weekday()])

    def weekdays(self, first: int, last: int) -> str:
        """A weekday, or a run of them, 0 for Monday: “Mon–Fri”."""
        names = dates.get_day_names("abbreviated", locale=self.locale)
        return str(names[first]) if first == last else f"{names[first]}–{names[last]}"

    def hour(self, time_of_day: time) -> str:
        """A time of day: “14:05”."""
        return _hour(time_of_day.replace(second=0, microsecond=0), self.locale)

    def local(self, at: datetime) -> datetime:
        """The moment in the shop's zone."""
        return at.astimezone(self.zone)

    def span(self, start: datetime, end: datetime) -> str:
        """How long it was, roughly: “3 days”."""
        return dates.format_timedelta(end - start, threshold=1.2, locale=self.locale)

    def decimal(self, number: Decimal) -> str:
        """A number without needless zeros: 1.50 → “1.5”, in German “1,5”."""
        return numbers.format_decimal(number.normalize(), locale=self.locale)

    def money(self, minor: int, currency: str) -> str:
        """Minor units as money: 4850 GBP → “£48.50”."""
        amount = Decimal(minor).scaleb(-numbers.get_currency_precision(currency))
        return numbers.format_currency(amount, currency, locale=self.locale)

    def exact_money(self, amount: Decimal, currency: str) -> str:
        """An amount that may be less than the smallest coin: 0.045 GBP → “£0.045”."""
        return numbers.format_currency(amount, currency, locale=self.locale, decimal_quantization=False)

    def _fact(self, fact: object) -> object:
        if isinstance(fact, Sentence):
            return self.say(fact)
        if isinstance(fact, Between):
            return self.between(fact.first, fact.last)
        if isinstance(fact, Price):
            return self.money(fact.minor, fact.currency)
        if isinstance(fact, date):
            return self.day(fact)
        return self.words(fact) if isinstance(fact, Mapping) else fact


# Writing a date out takes Babel longer than a page has; a shop's pages show the same days and hours again and again.
@lru_cache(4096)
def _day(skeleton: str, day: date, locale: Locale) -> str:
    return str(dates.format_skeleton(skeleton, day, locale=locale))


@lru_cache(4096)
def _hour(time_of_day: time, locale: Locale) -> str:
    return dates.format_time(time_of_day, "short", locale=locale)


@cache
def language(tag: str, zone: str) -> Language:
    """The language by tag and time zone. A tag without a catalogue speaks English with its own dates."""
    locale = Locale.parse("en-GB" if tag == "en" else tag, sep="-")
    return Language(tag, ZoneInfo(zone), locale, _translations(locale.language))


@cache
def _translations(code: str) -> NullTranslations:
    file = resources.catalogues() / code / "LC_MESSAGES" / "messages.po"
    if not file.exists():
        return NullTranslations()
    with file.open("rb") as source:
        catalogue = read_po(source, locale=code)
    compiled = io.BytesIO()
    write_mo(compiled, catalogue)
    compiled.seek(0)
    return Translations(compiled)
