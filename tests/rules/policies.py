"""A small whole policy for tests, with something of everything, and with remarks."""

from __future__ import annotations

WHOLE = """\
# What the shop decides for itself.
[shop]
name = "A small repair shop"
address = ["1 Example Lane", "Exampleton"]
country = "GB"
zone = "Europe/London"
currency = "GBP"
# tax_percent = 20
languages = ["en", "de"]  # the first is the shop's own

[hours]
monday = [{ opens = 09:00:00, closes = 17:30:00 }]
tuesday = [{ opens = 09:00:00, closes = 17:30:00 }]
saturday = []
public_holidays = "GB-ENG"

# The stages, in their order.

[[stages]]
key = "received"
label = { en = "Received", de = "Angenommen" }
sentence = { en = "Your device is with us.", de = "Ihr Gerät ist bei uns." }
leave = [{ gate = "fault_described", when_shut = "block" }]

[[stages]]
key = "cleaning"
label = { en = "Cleaning", de = "Reinigung" }
sentence = { en = "We are cleaning your device inside.", de = "Wir reinigen Ihr Gerät von innen." }
may_be_skipped = true
back_without_reason = true  # dust is met while opening and flux after soldering

[[stages]]
key = "board_work"
label = { en = "Board work", de = "Platinenarbeit" }
sentence = { en = "We are repairing the circuit board.", de = "Wir reparieren die Platine." }
tell = true

[[stages]]
key = "testing"
label = { en = "Testing", de = "Prüfung" }
sentence = { en = "We are testing the repair.", de = "Wir prüfen die Reparatur." }

# the end of the way
[[stages]]
key = "ready"
label = { en = "Ready", de = "Fertig" }
sentence = { en = "Your device is ready to be collected.", de = "Ihr Gerät kann abgeholt werden." }
enter = [{ gate = "contact_reachable", when_shut = "warn" }]
tell = true

# Kinds of device.

[[kinds]]
key = "other"
label = { en = "Something", de = "Etwas" }
checks = [
  { key = "starts", bench = "Starts", customer = { en = "It starts", de = "Es startet" } },
]

[[cautions]]
key = "solvent"
text = "Isopropyl alcohol burns easily."
stages = ["cleaning", "board_work"]

[[cautions]]
key = "fume"
text = "Flux fume can cause asthma."
stages = ["board_work"]

[terms]
version = "draft-1"

[[terms.points]]
key = "looking"
title = { en = "Looking at your device", de = "Blick auf Ihr Gerät" }
text = { en = "We look at it.", de = "Wir sehen es uns an." }
"""
