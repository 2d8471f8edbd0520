"""Rows of the import table (`import_rows.py`): what is read of the exact record, its exports, checks and proofs."""

RECORD = {
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
    # checks and proofs, encryption, and the commands of all
    "record.sums": "core.errors",
    "record.journal_pages": "",
    "record.proof_arguments": "reading_arguments",
    "record.journal_seals": "core.errors core.merkle core.minute_tree core.model core.record_log core.release "
    "core.secrets core.wire journal secrets_file",
    "record.proving": "core.errors core.minute_tree core.model core.proof core.record_log expedition import_log "
    "journal shell.record.journal_seals shell.record.verifying",
    "record.checking": "core.errors core.minute_roots core.minute_tree core.model core.seal core.secrets "
    "core.verification exit_code expedition import_log journal printable recovered shell.record.journal_pages "
    "shell.record.journal_seals shell.record.sums shell.record.verifying | rich",
    "record.locking": "core.errors | pyrage",
    "record.secrets_lock": "core.errors core.secrets journal secrets_file shell.record.identities shell.record.locking",
    "record.identities": "core.errors shell.record.locking | pyrage",
    "record.backup": "core.errors expedition journal recovered secrets_file shell.record.locking shell.record.sums",
    "record.opening": "core.errors shell.record.backup shell.record.locking",
    "record.locked_arguments": "reading_arguments",
    "record.locked_command": "core.errors expedition import_log shell.record.backup shell.record.identities "
    "shell.record.locking shell.record.opening shell.record.secrets_lock | rich",
    "record.journal_arguments": "reading_arguments shell.record.locked_arguments shell.record.proof_arguments",
    "record.journal_command": "import_log shell.record.checking shell.record.exporting shell.record.locked_command",
    "record.row_words": "core.decision core.errors core.model core.policy core.sighting core.sources printable",
    "record.verifying": "core.errors core.proof core.release core.wire printable shell.record.row_words",
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
