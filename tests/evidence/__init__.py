"""What speaks for the tool and against it, by commands whose last output is kept: ``python -m tests.evidence PART``.

Each part runs alone and writes a Markdown file beside itself. Disagreements stay in it.
"""
