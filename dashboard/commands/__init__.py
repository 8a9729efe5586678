"""The subcommands of `setscrew`, one module each: `HELP`, `add_arguments(parser)` and `run(arguments) -> exit code`.

What they share stands in dashboard/command_line/.
"""

# Name on the command line -> module. The order is that of `setscrew --help`.
COMMANDS: dict[str, str] = {
    "demo": "dashboard.commands.demo_command",
    "ports": "dashboard.commands.ports_command",
    "record": "dashboard.commands.record_command",
    "check": "dashboard.commands.check_command",
    "ingest": "dashboard.commands.ingest_command",
    "forget": "dashboard.commands.forget_command",
    "people": "dashboard.commands.people_command",
    "roles": "dashboard.commands.roles_command",
    "findings": "dashboard.commands.findings_command",
    "propose": "dashboard.commands.propose_command",
    "plan": "dashboard.commands.plan_command",
    "compare": "dashboard.commands.compare_command",
    "class": "dashboard.commands.class_command",
    "header": "dashboard.commands.header_command",
    "show": "dashboard.commands.show_command",
    "report": "dashboard.commands.report_command",
    "export": "dashboard.commands.export_command",
}
