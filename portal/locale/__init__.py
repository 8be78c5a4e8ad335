"""The catalogues, one `<language>/LC_MESSAGES/messages.po` each, and the tool that keeps them in step with the code."""
