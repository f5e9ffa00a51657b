"""The command line: one module a command, and the server that it starts. Nothing imports it but app.__main__,
module by module and late, so that a command loads only what it needs.
"""

__all__: list[str] = []
