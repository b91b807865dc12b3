"""How scripts, styles and letters are stored for production: each named by its content and compressed."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class NamedByContent(CompressedManifestStaticFilesStorage):
    """Scripts name each other by their content, too: a new version is never mixed with one that a phone still keeps."""

    support_js_module_import_aggregation = True
