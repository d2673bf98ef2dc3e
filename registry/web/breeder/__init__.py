"""The breeder's room: candidate mates, pairs and their litters, tested litter mates side by side.

Open to everyone, without cookies, scripts or third parties. Views are in ``views``; the filter
panel is in ``filters``; what a page says is put together by ``registry.telling``, so that the
templates only place finished strings.
"""
