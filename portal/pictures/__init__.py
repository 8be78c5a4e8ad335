"""Pictures: from a file that somebody sent to two clean ones that carry a picture and nothing else.

`clean` does the work and only ever runs in a child process of its own (`worker`), since what it reads is hostile until
shown otherwise. Nothing of the file that was sent survives: every picture is decoded and encoded anew.
"""
