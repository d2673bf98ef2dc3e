"""The puppy buyer's room: look-up, certificates, dogs, breeds, the owner's private link, help.

Open to everyone, without cookies, scripts or third parties. Views are in ``views``; each page's
content is put together in a module of its own, so that the templates only place finished strings.
"""
