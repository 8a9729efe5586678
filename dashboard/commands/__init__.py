"""The subcommands of `setscrew`, one module each: `HELP`, `add_arguments(parser)` and `run(arguments) -> exit code`."""

# Name on the command line -> module. The order is that of `setscrew --help`.
COMMANDS: dict[str, str] = {
    "demo": "dashboard.commands.demo",
    "ports": "dashboard.commands.ports",
    "record": "dashboard.commands.record",
    "ingest": "dashboard.commands.ingest",
    "forget": "dashboard.commands.forget",
    "people": "dashboard.commands.people",
    "roles": "dashboard.commands.roles",
    "findings": "dashboard.commands.findings",
    "propose": "dashboard.commands.propose",
    "plan": "dashboard.commands.plan",
    "compare": "dashboard.commands.compare",
    "header": "dashboard.commands.header",
    "show": "dashboard.commands.show",
    "report": "dashboard.commands.report",
}
