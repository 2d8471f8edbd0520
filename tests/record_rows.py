"""The import table's rows of `relay/shell/record`, of the same form as those in `import_rows`."""

RECORD = {
    "record.sums": "core.errors",
    "record.journal_pages": "",
    "record.exact_values": "core.model core.own_time core.policy core.target_position",
    "record.exact_store": "core.errors core.model core.own_time recovered shell.record.exact_values | msgspec",
    "record.dive_walk": "core.decision core.dive_phases core.fuse core.model core.policy core.present core.stations "
    "shell.record.exact_values",
    "record.exact_reading": "core.decision core.errors core.exact_record core.find core.finds core.fuse core.model "
    "core.own_time core.policy core.sighting core.target_position shell.record.dive_walk shell.record.exact_store "
    "shell.record.exact_values",
    "record.exact_dives": "core.errors core.exact_record core.finds core.own_time core.policy expedition import_log "
    "journal recovered shell.record.exact_reading shell.record.exact_store shell.record.exact_values",
    "record.shapes": "core.geodesy | shapely",
    "record.tables": "shell.record.exact_dives shell.record.shapes",
    "record.track_tables": "core.model shell.record.exact_dives shell.record.exact_values shell.record.shapes "
    "shell.record.tables",
    "record.told_tables": "core.find core.finds shell.record.exact_dives shell.record.exact_values shell.record.shapes "
    "shell.record.tables",
    "record.all_tables": "shell.record.exact_dives shell.record.tables shell.record.told_tables "
    "shell.record.track_tables",
    "record.gpkg": "shell.record.exact_dives shell.record.shapes shell.record.tables",
    "record.csv_tables": "shell.record.exact_dives shell.record.shapes shell.record.tables shell.record.zipped",
    "record.geojson": "shell.record.exact_dives shell.record.shapes shell.record.tables shell.record.zipped | msgspec",
    "record.zipped": "",
    "record.telling": "| rich",
    "record.exporting": "core.errors expedition import_log shell.record.all_tables shell.record.csv_tables "
    "shell.record.exact_dives shell.record.exact_store shell.record.geojson shell.record.gpkg "
    "shell.record.locking shell.record.tables shell.record.telling",
    "record.locking": "core.errors | pyrage",
    "record.secrets_lock": "core.errors core.secrets journal secrets_file shell.record.identities shell.record.locking",
    "record.identities": "core.errors shell.record.locking | pyrage",
    "record.journal_arguments": "reading_arguments",
    "record.journal_command": "import_log shell.record.exporting",
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
    "record.reporting": "core.errors expedition import_log recording shell.record.dive_report "
    "shell.record.exact_dives shell.record.exact_report shell.record.locking shell.record.released_report "
    "shell.record.telling",
}
