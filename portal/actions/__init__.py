"""What people do: one function a deed, one transaction each. Loads, asks the rules, writes change, journal, outbox."""
