"""Certificates that prove themselves: signed JSON that anybody can check without this server.

Values alone: documents, keys and proofs in, documents and answers out. What a certificate says is
read by ``registry.telling``; which keys there are, the settings say.
"""
