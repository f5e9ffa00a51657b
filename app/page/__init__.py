"""The web page: templates and what they load."""
