"""The standing catalogue: tables of plain Python, each number with its source and how sure we are of it.

The standards themselves are sold, not quoted: what could be seen of them says where; what is told from memory says so
and waits for the lab to hold it against its own copy. H high, M medium, L low, U not known (no number is given).
"""
