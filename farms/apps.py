from django.apps import AppConfig


class FarmsConfig(AppConfig):
    name = "farms"
    verbose_name = "Farms"

    def ready(self) -> None:
        from farms import lookups  # noqa: F401  registers them
