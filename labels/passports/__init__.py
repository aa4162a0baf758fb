"""A plug's history as a signed file that travels with it.

Pure: no Django, no clock, no files. `document` puts a line of descent into words, `signing` signs and verifies it,
`reading` takes a file apart and refuses what is not in order.
"""
