"""The import table's rows of `relay/shell/record`, of the same form as those in `import_rows`."""

RECORD = {
    # a dive's report
    "record.report_drawing": "",
    "record.dive_report": "shell.record.report_drawing | jinja2",
    "record.released_dive": "core.release core.wire shell.record.report_drawing",
    "record.released_report": "core.figures core.release core.wire page_words shell.record.dive_report "
    "shell.record.released_dive shell.record.report_drawing",
    "record.exact_dive": "core.fuse core.geodesy core.kept_track core.model core.policy shell.record.exact_dives "
    "shell.record.exact_values shell.record.report_drawing",
    "record.exact_report": "core.finds core.policy page_words shell.record.dive_report shell.record.exact_dive "
    "shell.record.exact_dives shell.record.exact_values shell.record.report_drawing",
    "record.reporting": "core.errors core.finds core.model expedition import_log recording shell.record.dive_report "
    "shell.record.exact_dives shell.record.exact_report shell.record.locking shell.record.released_report | rich",
}
