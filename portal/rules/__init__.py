"""The shop's rules: pure. No input or output, no Flask, no SQL, no clock; plain values in, plain values out."""
