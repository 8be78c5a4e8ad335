"""Messages that must go out, and the clock that sends them. Knows nothing of tickets, imports nothing of the portal.

`outbox` takes a message inside the caller's own transaction; `delivery` sends what is due through `channels`;
`sweeps` and `clock` run the repeatable passes of time; `tables` are this package's own.
"""
