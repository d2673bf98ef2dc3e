"""Pictures of results: SVG made on the server, and Plotly figures for the explorers.

Values and wording come in as arguments, markup or plain data goes out. No
database, no request, no translation, no clock, and no verdict about a dog.
"""
