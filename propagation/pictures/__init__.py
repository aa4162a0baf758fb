"""Pictures of the yield model: plain numbers and days in, coordinates out. Nothing here knows Django or the database.

One module per picture; each gives a `drawing.Picture`, which `templates/propagation/parts/picture_*.html` write as SVG.
"""
