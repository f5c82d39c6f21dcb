"""The JSON API and the pages. Importing it is light; ``server.serve`` brings the toolkit."""
