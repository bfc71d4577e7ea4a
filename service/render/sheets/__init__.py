"""The paper of a job: sheet 1 the numbers, sheet 2 the sequence and its pictures, sheet 3 as found and run-in.

What stands on the sheets, apart from how it is laid out (``service.render.pdf.sheets``). One question, one sheet; one
unit system, that of the reader; left on paper is left on the machine. What is not known is a blank, what must not be
used is not printed.
"""
