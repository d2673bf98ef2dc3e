"""The registry as one archive: canonical rows, evidence, a manifest; as a zip, a folder to leave
with, or a site of plain files. Everything here reads; what puts an archive back is
``registry.desk.archive``.
"""
