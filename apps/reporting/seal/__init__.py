"""The laboratory's electronic seal on a report's file: its key, the sealing, and checking a file that came back.

None of it knows a table: a file is checked on any machine with the laboratory's public certificate alone.
"""
