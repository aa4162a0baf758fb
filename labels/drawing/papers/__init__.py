"""Papers that go along with frags: receipts, packing lists, certificates and care notes on A4 or Letter.

`contents` says what stands on them, `composing` what parts each is made of, `parts` how a part is set, and `pages`
turns pages and writes the PDF. None of it knows Django, a database or a clock.
"""
