"""Rows of the import table (`import_rows.py`): what is read of the exact record, and its exports."""

RECORD = {
    "record.exact_values": "core.model core.own_time core.policy core.target_position",
    "record.exact_store": "core.errors core.own_time recovered shell.record.exact_values | msgspec",
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
}
