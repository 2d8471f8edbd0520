"""The import table's rows of `relay/shell`, of the same form as those in `import_rows`."""

SHELL = {
    "clock": "",
    "quantities": "",
    "host_names": "",
    "uplink_plan": "host_names",
    "representation": "",
    "seabed": "",
    "toml_lines": "",
    "wheel": "",
    "site_files": "core.errors",
    "log_lines": "",
    "desk_address": "",
    # what the operator gives: expedition file, secrets, captures
    "feed_url": "core.errors host_names",
    "expedition_form": "core.errors core.policy desk_address feed_url host_names quantities uplink_plan | pydantic",
    "expedition_faults": "expedition_form toml_lines | pydantic",
    "audit_plan": "core.area core.geodesy core.policy expedition_faults expedition_form quantities",
    "expedition_sense": "audit_plan core.area core.errors core.place_in_text core.policy core.reach core.survey_plan "
    "core.swath expedition_faults expedition_form feed_url toml_lines",
    "expedition": "audit_plan core.errors core.policy core.survey_plan desk_address expedition_faults "
    "expedition_form expedition_sense feed_url toml_lines uplink_plan | pydantic",
    "secrets_file": "core.errors core.secrets shell.identities shell.locking whole_file",
    "capture": "core.errors core.mavlink core.ranges | msgspec",
    "plain_words": "core.area core.disclosure core.policy core.quantise quantities",
    "plain_ground": "core.area core.policy core.survey_plan core.swath feed_url plain_words quantities uplink_plan",
    "plain_cautions": "core.area core.notices core.place_in_text core.policy expedition plain_words quantities",
    # bytes in
    "feed_intake": "core.errors feed_url",
    "feed_datagram": "feed_intake feed_url",
    "feed_serial": "core.errors feed_intake",
    "feed_stream": "core.errors feed_intake",
    "feed_websocket": "core.websocket feed_intake feed_stream | websockets",
    "feeds": "feed_datagram feed_intake feed_serial feed_stream feed_url feed_websocket",
    # the exact record
    "read_only": "",
    "journal": "core.errors core.model clock read_only shell.sums whole_file",
    "recovered": "core.errors core.policy read_only",
    "import_words": "",
    "import_log": "core.errors core.exact_record core.own_time core.policy core.ranges capture clock deciding "
    "expedition import_words journal recovered",
    "proof_arguments": "reading_arguments shell.locked_arguments",
    "journal_seals": "core.errors core.merkle core.minute_tree core.model core.record_log core.release "
    "core.secrets core.wire journal secrets_file",
    "proving": "core.decision core.errors core.find core.minute_tree core.model core.proof core.record_log "
    "core.release exact_place expedition import_log journal shell.journal_seals shell.locking shell.verifying "
    "whole_file",
    "checking": "core.decision core.errors core.find core.minute_roots core.minute_tree core.model core.record_log "
    "core.secrets exit_code expedition import_log journal printable read_only shell.checking_files "
    "shell.journal_pages shell.journal_seals shell.sums shell.telling",
    "checking_files": "core.errors core.find core.minute_tree core.seal core.secrets core.verification expedition "
    "find_files printable programme_file recovered shell.journal_seals shell.verifying",
    "checkpoint": "core.errors core.geodesy core.hiding core.merkle core.policy core.programme core.record_log "
    "core.restart | msgspec",
    "exact_values": "core.model core.own_time core.policy core.target_position | msgspec",
    "exact_store": "core.errors core.exact_record core.own_time recovered shell.exact_values "
    "shell.inserting whole_file | msgspec",
    "dive_walk": "core.decision core.dive_phases core.fuse core.model core.policy core.present core.stations "
    "shell.exact_values",
    "decoding": "core.errors core.model core.own_time core.policy read_only shell.exact_values | msgspec",
    "exact_reading": "core.decision core.errors core.find core.finds core.fuse core.model core.policy "
    "core.sighting core.target_position shell.decoding shell.dive_walk shell.exact_store shell.exact_values",
    "exact_dives": "core.errors core.exact_record core.finds core.own_time core.policy expedition import_log "
    "journal read_only recovered shell.decoding shell.exact_reading shell.exact_store shell.exact_values",
    "shapes": "core.geodesy | shapely",
    "tables": "shell.exact_dives shell.shapes",
    "track_tables": "core.model shell.exact_dives shell.exact_values shell.shapes shell.tables",
    "told_tables": "core.find core.finds shell.exact_dives shell.exact_values shell.shapes shell.tables",
    "all_tables": "shell.exact_dives shell.tables shell.told_tables shell.track_tables",
    "gpkg": "shell.exact_dives shell.inserting shell.shapes shell.tables",
    "csv_tables": "shell.exact_dives shell.shapes shell.tables shell.zipped",
    "geojson": "shell.exact_dives shell.shapes shell.tables shell.zipped | msgspec",
    "inserting": "",
    "zipped": "",
    "find_files_out": "core.find find_files shell.exact_dives shell.exact_store shell.tables shell.telling "
    "shell.told_tables",
    "telling": " | rich",
    "exporting": "core.errors expedition import_log shell.all_tables shell.csv_tables "
    "exact_place shell.exact_dives shell.exact_store shell.find_files_out shell.geojson shell.gpkg shell.locking "
    "shell.tables shell.telling shell.written_apart whole_file",
    "written_apart": "core.errors shell.decoding shell.exact_dives shell.shapes shell.tables shell.zipped | msgspec",
    "whole_file": "core.errors",
    "exact_place": "core.errors expedition",
    "locking": "core.errors whole_file | pyrage",
    "secrets_lock": "core.errors core.secrets journal secrets_file shell.identities shell.locking whole_file",
    "identities": "core.errors shell.locking whole_file | pyrage",
    "backup": "core.errors exact_place expedition journal read_only recovered secrets_file shell.locking shell.sums "
    "whole_file",
    "opening": "core.errors printable shell.backup shell.locking whole_file",
    "locked_arguments": "reading_arguments",
    "locked_command": "core.errors expedition shell.backup shell.identities "
    "shell.locking shell.opening shell.secrets_lock shell.telling",
    "journal_arguments": "reading_arguments shell.locked_arguments shell.proof_arguments",
    "journal_command": "import_log shell.checking shell.exporting shell.locked_command",
    "find_arguments": "reading_arguments",
    "find_files": "core.errors core.find whole_file",
    "outlines": "core.errors core.find whole_file",
    "finding": "core.decision core.errors core.find core.geodesy control expedition quantities "
    "shell.find_files shell.outlines",
    # released records on their way out
    "recording": "core.errors core.recording_form core.verification core.wire",
    "programme_file": "core.errors core.release core.wire recording",
    "outlet": "core.channel core.release core.seal core.wire programme_file recording",
    # the link from ship to shore, both ends
    "uplink_tls": "core.errors tls_files",
    "uplink_socket": "core.errors core.uplink_talk core.websocket | websockets",
    "uplink_port": "gate core.errors core.seal core.uplink_talk uplink_socket uplink_tls",
    "uplink_link": "core.errors core.seal core.uplink_talk uplink_plan uplink_tls | websockets",
    "uplink_session": "core.errors core.uplink_log core.uplink_pace core.uplink_talk uplink_link | websockets",
    "uplink": "core.errors core.guests core.history core.seal core.uplink_log core.uplink_talk uplink_link "
    "uplink_plan uplink_session",
    # the public port
    "answers": "",
    "attendance": "",
    "gate": "attendance core.subscriber wheel",
    "guest_door": "attendance core.errors core.guest_terms core.guests",
    "page_words": "core.errors",
    "track_picture": "core.summary page_words | PIL fontpkg_source_serif_4",
    "made_pages": "core.programme_told core.summary page_words track_picture | jinja2",
    "public_files": "core.history core.programme_told core.summary core.wire made_pages page_words representation",
    "slices": " | aiohttp",
    "pages": "core.errors answers public_files representation slices | aiohttp",
    "guest_pages": "core.guest_terms core.guests guest_door pages public_files representation slices | aiohttp",
    "conversation": "attendance gate pages slices | aiohttp",
    "viewer": "attendance core.history core.release core.subscriber core.websocket gate",
    "front": "core.guests core.subscriber core.websocket answers conversation gate guest_door pages viewer | aiohttp",
    "tls_files": "core.errors",
    "tls_door": "front gate tls_files",
    "site": "core.history answers conversation front gate guest_door guest_pages pages public_files tls_door viewer",
    # the relay ashore
    "shore_form": "core.seal desk_address expedition_form host_names quantities | pydantic",
    "shore_file": "core.errors core.seal desk_address expedition_faults expedition_form shore_form toml_lines | "
    "pydantic",
    "shore_named": "core.errors expedition_faults shore_file shore_form tls_files",
    "shore_logs": "core.errors core.history core.release core.seal core.wire programme_file recording",
    "shore_guests": "core.errors core.guest_terms core.uplink_talk guest_door recording",
    "shore": "core.errors core.held core.history core.uplink_talk shore_file shore_guests shore_logs site "
    "uplink_port watch workers",
    "watch": "core.errors answers conversation front gate pages | aiohttp prometheus_client",
    "shore_counts": "core.history site | prometheus_client",
    "certificate_end": "core.errors tls_door | cryptography",
    "shore_site": "gate page_words public_files shore_file site site_files tls_door",
    "shore_run": "core.errors certificate_end shore shore_counts shore_file shore_site shore_stream uplink_port "
    "watch workers",
    # several relays over a stream, several processes on a port
    "stream_line": "quantities | nats",
    "stream_out": "core.errors core.history core.release core.stream_order core.wire stream_line | nats",
    "stream_in": "core.errors core.history core.stream_order core.wire stream_line | nats",
    "shore_stream": "shore shore_file stream_in stream_line stream_out",
    "worker_talk": " | msgpack",
    "worker": "core.errors core.history certificate_end shore_file shore_site site worker_talk | uvloop",
    "workers": "core.errors core.history attendance gate guest_door shore_file site worker worker_talk",
    "briefing": "core.errors core.release core.wire recording toml_lines",
    "export": "core.errors core.release core.wire",
    "publish": "core.errors core.history core.seal core.summary core.verification core.wire expedition_form "
    "made_pages page_words programme_file public_files recording",
    # the desk
    "watch_file": "",
    "desk_watch": "core.desk_record core.errors core.fuse core.geodesy core.given core.ground core.kept_track "
    "core.notices core.overdue core.reach core.survey_day core.survey_plan core.watch_words core.watched watch_file",
    # the running relay
    "guest_book": "core.errors core.guest_terms core.guests",
    "inviting": "core.decision core.errors core.guest_terms core.guests core.seal guest_book guest_door",
    "deciding": "core.errors core.ranges",
    "exit_code": "core.errors printable",
    "control": "core.errors deciding",
    "desk_finds": "core.find core.finds",
    "desk_sense": "core.area core.decision core.desk_record core.errors core.find core.pipeline core.policy "
    "core.sighting desk_finds",
    "standing": "core.decision core.desk_record core.errors core.find core.pipeline core.place_finding core.policy "
    "core.programme core.still desk_finds desk_sense quantities",
    # the desk, on its own listener
    "trail": "",
    "desk_token": "core.errors",
    "desk_seen": "core.release core.wire outlet trail",
    "desk_legs": "core.decision core.dive_phases core.errors core.model core.pipeline core.policy",
    "desk_disk": "core.notices",
    "desk_audiences": "core.channel desk_seen quantities",
    "desk_vehicles": "core.fuse core.pipeline desk_legs desk_watch",
    "desk_feeds": "core.pipeline core.sources core.stations feeds",
    "desk_decided": "core.decision core.desk_record core.find core.hiding core.pipeline core.programme desk_finds "
    "desk_seen desk_watch quantities",
    "desk_state": "core.decision core.notices core.pipeline core.policy core.silence desk_audiences desk_decided "
    "desk_disk desk_feeds desk_legs desk_seen desk_vehicles desk_watch expedition feeds promises site standing",
    "desk_line": "gate | aiohttp",
    "desk_stream": "",
    "desk": "core.errors core.pipeline core.ranges conversation deciding desk_address desk_line desk_stream "
    "desk_token representation | aiohttp",
    "desk_room": "core.model core.pipeline core.silence deciding desk desk_disk desk_legs desk_line desk_seen "
    "desk_state desk_token desk_watch outlet pages site_files",
    # the promises: who may start, and what is about to leave
    "audit_result": "core.errors core.policy expedition printable quantities | datetime",
    "audit_gate": "audit_result core.decision core.errors core.ranges expedition",
    "foresight_process": "core.policy core.secrets",
    "foresight": "audit.attack core.channel core.model core.pipeline core.release core.wire foresight_process | sys",
    "foresight_run": "audit.attack audit.chart_files audit.chart_merge audit.error_law audit.residual audit_result "
    "checkpoint core.channel core.decision core.desk_record core.errors core.model core.pipeline core.record_log "
    "core.restart core.secrets foresight foresight_process journal recording secrets_file | numpy time",
    "promises": "audit_gate audit_result core.channel core.decision core.errors core.model core.pipeline core.policy "
    "core.release core.secrets expedition foresight_process outlet quantities",
    "taking": "core.decision core.errors core.find core.model core.pipeline clock desk_decided journal standing",
    "ship": "core.channel core.decision core.desk_record core.errors core.model core.pipeline core.seal core.sources "
    "core.wire audit_gate checkpoint clock control deciding desk_room expedition feeds inviting journal outlet "
    "promises recording secrets_file site standing taking uplink | shapely",
    "running": "expedition gate page_words public_files site site_files",
    "until_stopped": "",
    "rehearse": "core.errors core.model core.pipeline core.policy core.release core.seal core.secrets core.sources "
    "capture journal outlet",
    # the invented dive
    "vehicle_motion": "core.model seabed",
    "station_reports": "core.model seabed vehicle_motion | pyproj",
    "simulated": "core.model seabed station_reports vehicle_motion",
    "station_sender": "station_reports",
    "demo": "simulated station_reports",
    "demo_run": "core.errors core.minute_roots core.minute_tree core.model core.record_log core.restart checkpoint "
    "clock demo expedition journal recording running secrets_file ship simulated site_files station_reports "
    "station_sender until_stopped",
    "still_file": "core.errors core.still whole_file | PIL",
    "site_key": "core.errors core.seal core.secrets expedition journal secrets_file",
    "printable": "",
    "row_words": "core.decision core.errors core.model core.policy core.sighting core.sources printable",
    "verifying": "core.errors core.proof core.release core.wire printable shell.row_words",
    "sums": "core.errors read_only",
    "journal_pages": "",
    # a dive's report
    "report_drawing": "",
    "dive_report": "shell.report_drawing | jinja2",
    "released_dive": "core.release core.wire shell.report_drawing",
    "released_report": "core.figures core.release core.wire page_words shell.dive_report "
    "shell.released_dive shell.report_drawing",
    "exact_dive": "core.fuse core.geodesy core.kept_track core.model core.policy shell.exact_dives "
    "shell.exact_values shell.report_drawing",
    "exact_finds": "core.find core.finds shell.report_drawing",
    "exact_report": "core.finds core.policy page_words shell.dive_report shell.exact_dive "
    "shell.exact_dives shell.exact_finds shell.exact_values shell.report_drawing",
    "reporting": "core.errors expedition import_log recording shell.dive_report "
    "shell.exact_dives shell.exact_place shell.exact_report shell.locking shell.released_report "
    "shell.telling shell.whole_file",
    "verify": "core.errors core.proof core.seal core.verification exit_code printable programme_file shell.verifying",
    "reading_arguments": "",
    "tell_words": "quantities",
    "tell_arguments": "",
    # the audit's command: what it was given, what came of it
    "table_file": "core.errors",
    "ship_track_file": "audit.attack core.errors table_file | numpy",
    "wreck_list_file": "audit.attack core.errors ship_track_file table_file",
    "true_place": "audit.attack audit.chart core.errors core.geodesy core.model core.policy core.release "
    "core.sources journal | numpy",
    "true_spellings": "audit.attack audit.leak_scan core.policy true_place",
    "audit_arguments": "reading_arguments",
    "audit_libraries": "core.errors",
    "audit_case": "audit.attack audit.chart audit.chart_files audit.chart_merge audit.declared audit.known_seabed "
    "audit.well_formed core.area core.errors core.wire expedition printable recording ship_track_file "
    "wreck_list_file | numpy",
    "audit_words": "audit.played",
    "residual_map": "audit.chart audit.played track_picture | matplotlib matplotlib.backends.backend_agg "
    "matplotlib.figure numpy",
    "report_page": "audit.played audit_words core.errors residual_map | jinja2",
    "audit_promises": "audit.advise audit.attack audit.error_law audit.sites audit.trial core.errors core.policy "
    "advise_run audit_case audit_result expedition | numpy",
    "audit_run": "audit.attack audit.attacks audit.calibration audit.chart_match audit.evidence audit.known_seabed "
    "audit.played audit_case audit_promises audit_words core.errors expedition printable report_page true_place "
    "true_spellings | numpy",
    "policy_file": "core.errors toml_lines",
    "advise_arguments": "reading_arguments",
    "advised_keys": "audit.settings core.policy expedition_form quantities",
    "advise_dive": "audit.journey core.errors core.policy core.wire expedition recording rehearse secrets_file",
    "advise_words": "audit.advise audit.lattice_search audit.settings audit.trial core.policy audit_result quantities",
    "advise_picture": "audit.advise audit.lattice_search audit.trial audit_result core.errors | matplotlib "
    "matplotlib.axes matplotlib.backends.backend_agg matplotlib.backends.backend_svg matplotlib.figure",
    "advise_run": "advise_dive audit.advise audit.attack audit.chart audit.chart_files audit.declared audit.journey "
    "audit.known_seabed audit.settings audit.ship_alignment audit.ship_path audit.sites audit.soundings_of "
    "audit.told audit.trial audit_case audit_result core.errors core.policy expedition quantities ship_track_file | "
    "numpy",
    "advise_command": "advise_picture advise_run advise_words advised_keys audit.attack audit.settings "
    "audit_libraries audit_result core.errors core.policy expedition policy_file quantities | rich",
    "audit_command": "audit.attack audit_libraries audit_run core.errors exit_code printable | rich",
    "tell": "core.errors core.still control expedition quantities still_file tell_words",
    "shore_words": "certificate_end quantities shore_file shore_named uplink_tls",
    "shore_command": "log_lines shore shore_file shore_named shore_run shore_words until_stopped | uvloop",
    "deploy": "",
    "guest_arguments": "reading_arguments",
    "guests_told": "core.decision core.errors core.model core.seal attendance clock control deciding desk_decided "
    "expedition guest_book guest_door inviting journal secrets_file taking",
    "app": "core.errors core.figures core.policy core.release core.seal core.secrets audit_gate audit_result "
    "briefing clock demo_run deploy desk_token exit_code expedition export guests_told log_lines "
    "page_words plain_cautions plain_ground plain_words printable public_files publish quantities recording rehearse "
    "running secrets_file ship site_files site_key until_stopped | rich uvloop",
}
