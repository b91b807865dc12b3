"""The roof of the house. Imports nothing here: `server.bootstrap` must load on a machine without any package."""
