from django.apps import AppConfig


class ServerConfig(AppConfig):
    name = "server"
    verbose_name = "Flyround"

    def ready(self) -> None:
        from server.checks import register_checks

        register_checks()
