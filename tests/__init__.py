"""The tests read as the specification: their names are sentences about the bench. Folders mirror the house."""

import os
import time

# The process sits in a zone that nobody expects (UTC+12:45, with summer time), so that a naive time shows itself.
os.environ["TZ"] = "Pacific/Chatham"
time.tzset()
