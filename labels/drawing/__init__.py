"""Labels drawn as a PDF: pure geometry, symbols and type, without Django, a database or a clock."""
