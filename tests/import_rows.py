"""The import table: each module of `relay/`, with the modules of ours and the libraries that it may import.

A row reads `room: "rooms it may import | libraries it may import"`, names of the same folder unless they say
`core.` or `shell.`; rooms of `shell/record` are written in full, `shell.record.tables`.
"""

from record_rows import RECORD

CORE = {
    "errors": "",
    "model": "",
    "quantise": "",
    "policy": "area",
    "ranges": "",
    "secrets": "",
    "still": "errors",
    "websocket": "",
    # bytes of a feed into observations
    "nmea_framing": "model",
    "nmea_fields": "ranges | pynmeagps datetime",
    "nmea0183": "model nmea_fields nmea_framing | datetime",
    "mavlink": "errors model ranges | pymavlink",
    "station_message": "model ranges | msgspec",
    "sources": "errors mavlink model nmea0183 policy station_message",
    # observations into what may be shown
    "guest_terms": "errors ranges | datetime",
    "decision_values": "errors ranges sighting still",
    "programme": "policy ranges",
    "find": "decision_values errors ranges | shapely",
    "decision": "area decision_values errors find guest_terms overdue policy programme sighting still",
    "finds": "decision errors find model target_position",
    "fuse": "decision model | gsw",
    "geodesy": "secrets | pyproj",
    "area": "geodesy secrets",
    "dive_phases": "fuse policy",
    "track": "area policy quantise",
    "present": "decision dive_phases fuse policy",
    "disclosure": "area dive_phases fuse geodesy policy quantise track",
    "queue_counts": "",
    "embargo": "fuse queue_counts",
    "hiding": "area geodesy secrets",
    # the evidence tree of the exact record
    "merkle": "",
    "minute_tree": "merkle model | msgpack",
    "record_log": "errors merkle minute_tree model",
    # the exact record, on the ship alone
    "own_time": "mavlink model policy sources",
    "exact_record": "model own_time",
    "minute_roots": "merkle minute_tree model record_log",
    "proof": "errors merkle minute_tree model record_log",
    # places in annotations
    "place_finding": "",
    "place_number_words": "",
    "place_words": "",
    "place_fold": "| unicodedata",
    "place_tokens": "place_fold place_number_words",
    "place_angles": "place_number_words place_tokens place_words",
    "place_degrees": "place_angles place_finding place_tokens place_words",
    "place_codes": "place_finding",
    "place_labels": "place_angles place_finding place_number_words place_tokens place_words",
    "place_names": "place_finding place_fold | unicodedata",
    "place_ranges": "place_finding place_number_words place_tokens place_words",
    "place_in_text": "place_codes place_degrees place_finding place_fold place_labels place_names place_ranges "
    "place_tokens",
    "time_in_text": "place_finding place_fold place_tokens",
    # the door, and the way out of it
    "release": "disclosure errors policy quantise still",
    "wire": "errors release | msgpack",
    "seal": "errors wire | cryptography",
    "uplink_talk": "errors | msgpack zlib",
    "uplink_log": "errors release uplink_talk",
    "uplink_pace": "",
    "verification": "errors release seal wire",
    "stations": "fuse geodesy model policy",
    "programme_board": "policy programme release",
    "restart": "geodesy hiding programme record_log",
    "sayable": "place_in_text policy programme time_in_text",
    "channel": "decision disclosure dive_phases embargo fuse geodesy hiding minute_tree model policy programme "
    "programme_board record_log release restart sayable seal secrets stations still",
    "pipeline": "channel decision desk_record embargo errors find finds fuse hiding minute_tree model place_in_text "
    "policy present programme ranges record_log restart secrets sighting sources stations time_in_text",
    # what readers work out
    "figures": "release wire | shapely",
    "summary": "errors figures release wire",
    "programme_told": "errors wire",
    "silence": "",
    # what the ship works out for itself, exact
    "given": "errors ranges",
    "survey": "errors geodesy given",
    "target_position": "errors geodesy given",
    "ground": "errors geodesy given | shapely",
    "swath": "errors given ground survey",
    "survey_plan": "given reach swath",
    "survey_day": "errors geodesy given ground survey survey_plan swath",
    "kept_track": "silence",
    "rate": "",
    "in_words": "",
    "watch_words": "in_words overdue reach survey_day",
    "watched": "errors given in_words kept_track model overdue reach survey survey_day watch_words",
    "notices": "in_words policy",
    "reach": "geodesy given",
    "overdue": "errors given",
    "sighting": "errors target_position",
    "desk_record": "decision find finds overdue sighting target_position",
    # who follows
    "history": "errors release wire",
    "subscriber": "history websocket",
    "stream_order": "errors history release seal wire",
    "guests": "errors guest_terms seal wire | msgpack",
    "held": "history uplink_talk",
}

SHELL = {
    **RECORD,
    "clock": "",
    "quantities": "",
    "uplink_plan": "",
    "representation": "",
    "seabed": "",
    "toml_lines": "",
    "wheel": "",
    "site_files": "core.errors",
    "log_lines": "",
    "desk_address": "",
    # what the operator gives: expedition file, secrets, captures
    "feed_url": "core.errors",
    "expedition_form": "core.errors core.policy desk_address feed_url quantities uplink_plan | pydantic",
    "expedition_faults": "expedition_form toml_lines | pydantic",
    "audit_plan": "core.area core.geodesy core.policy expedition_faults expedition_form quantities",
    "expedition_sense": "audit_plan core.area core.errors core.place_in_text core.policy core.reach core.survey_plan "
    "core.swath expedition_faults expedition_form feed_url toml_lines",
    "expedition": "audit_plan core.errors core.policy core.survey_plan desk_address expedition_faults expedition_form "
    "expedition_sense feed_url uplink_plan | pydantic",
    "secrets_file": "core.errors core.secrets shell.record.identities shell.record.locking",
    "capture": "core.errors core.mavlink core.ranges | msgspec",
    "plain_words": "core.area core.disclosure core.policy core.quantise quantities",
    "plain_ground": "core.area core.policy core.survey_plan core.swath feed_url plain_words quantities uplink_plan",
    "plain_cautions": "core.area core.notices core.place_in_text core.policy expedition plain_words quantities",
    # bytes in
    "feed_intake": "core.errors feed_url",
    "feed_datagram": "feed_intake feed_url",
    "feed_serial": "core.errors feed_intake",
    "feed_stream": "core.errors feed_intake",
    "feed_websocket": "feed_intake feed_stream | websockets",
    "feeds": "feed_datagram feed_intake feed_serial feed_stream feed_url feed_websocket",
    # the exact record
    "journal": "core.errors core.model clock shell.record.sums",
    "recovered": "core.errors core.policy",
    "import_words": "",
    "import_log": "core.errors core.exact_record core.own_time core.policy core.ranges capture clock "
    "deciding expedition import_words journal recovered",
    "checkpoint": "core.geodesy core.hiding core.policy core.programme core.record_log core.restart",
    # released records on their way out
    "recording": "core.errors core.verification core.wire",
    "programme_file": "core.errors core.release core.wire",
    "outlet": "core.channel core.release core.seal core.wire programme_file recording",
    # the link from ship to shore, both ends
    "uplink_tls": "core.errors tls_files",
    "uplink_socket": "core.errors core.uplink_talk | websockets",
    "uplink_port": "gate core.errors core.seal core.uplink_talk uplink_socket uplink_tls",
    "uplink_link": "core.errors core.seal core.uplink_talk uplink_plan uplink_tls | websockets",
    "uplink_session": "core.errors core.uplink_log core.uplink_pace core.uplink_talk uplink_link | websockets",
    "uplink": "core.errors core.guests core.history core.seal core.uplink_log core.uplink_talk uplink_link uplink_plan "
    "uplink_session",
    # the public port
    "answers": "",
    "attendance": "",
    "gate": "attendance core.subscriber wheel",
    "guest_door": "attendance core.errors core.guest_terms core.guests",
    "page_words": "core.errors",
    "track_picture": "core.summary page_words | PIL fontpkg_source_serif_4",
    "made_pages": "core.programme_told core.summary page_words track_picture | jinja2",
    "public_files": "core.history core.programme_told core.summary core.wire made_pages page_words representation",
    "slices": "| aiohttp",
    "pages": "core.errors answers public_files representation slices | aiohttp",
    "guest_pages": "core.guest_terms core.guests guest_door pages public_files representation slices | aiohttp",
    "conversation": "attendance gate pages slices | aiohttp",
    "viewer": "attendance core.history core.release core.subscriber core.websocket gate",
    "front": "core.guests core.subscriber core.websocket answers conversation gate guest_door pages viewer | aiohttp",
    "tls_files": "core.errors",
    "tls_door": "front gate tls_files",
    "site": "core.history answers conversation front gate guest_door guest_pages pages public_files tls_door viewer",
    # the relay ashore
    "shore_form": "core.seal desk_address expedition_form quantities | pydantic",
    "shore_file": "core.errors core.seal desk_address expedition_faults expedition_form shore_form | pydantic",
    "shore_named": "core.errors expedition_faults shore_file shore_form tls_files",
    "shore_logs": "core.errors core.history core.release core.seal core.wire programme_file recording",
    "shore_guests": "core.errors core.guest_terms core.uplink_talk guest_door",
    "shore": "core.errors core.held core.history core.uplink_talk shore_file shore_guests shore_logs site uplink_port "
    "watch workers",
    "watch": "core.errors answers conversation front gate pages | aiohttp prometheus_client",
    "shore_counts": "core.history site | prometheus_client",
    "certificate_end": "core.errors tls_door | cryptography",
    "shore_site": "gate page_words public_files shore_file site site_files tls_door",
    "shore_run": "core.errors certificate_end shore shore_counts shore_file shore_site shore_stream uplink_port watch "
    "workers",
    # several relays over a stream, several processes on a port
    "stream_line": "quantities | nats",
    "stream_out": "core.errors core.history core.release core.stream_order core.wire stream_line | nats",
    "stream_in": "core.errors core.history core.stream_order core.wire stream_line | nats",
    "shore_stream": "shore shore_file stream_in stream_line stream_out",
    "worker_talk": "| msgpack",
    "worker": "core.errors core.history certificate_end shore_file shore_site site worker_talk | uvloop",
    "workers": "core.errors core.history attendance gate guest_door shore_file site worker worker_talk",
    "briefing": "core.errors core.release core.wire recording",
    "export": "core.errors core.release core.wire",
    "publish": "core.errors core.history core.seal core.summary core.verification core.wire expedition_form made_pages "
    "page_words programme_file public_files recording",
    # the desk
    "watch_file": "",
    "desk_watch": "core.desk_record core.errors core.fuse core.geodesy core.given core.ground core.kept_track "
    "core.notices core.overdue core.reach core.survey_day core.survey_plan core.watch_words core.watched "
    "watch_file",
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
    "desk_decided": "core.decision core.desk_record core.find core.hiding core.pipeline core.programme "
    "desk_finds desk_seen desk_watch quantities",
    "desk_state": "core.decision core.notices core.pipeline core.policy core.silence desk_audiences desk_decided "
    "desk_disk desk_feeds desk_legs desk_seen desk_vehicles desk_watch expedition feeds promises site standing",
    "desk_line": "gate | aiohttp",
    "desk_stream": "",
    "desk": "core.errors core.pipeline core.ranges conversation deciding desk_address desk_line desk_stream "
    "desk_token representation | aiohttp",
    "desk_room": "core.model core.pipeline core.silence deciding desk desk_disk desk_legs desk_line desk_seen "
    "desk_state desk_token desk_watch outlet pages site_files",
    # the promises: who may start, and what is about to leave
    "audit_result": "core.errors core.policy expedition quantities | datetime",
    "audit_gate": "audit_result core.decision core.errors core.ranges expedition",
    "foresight_process": "core.policy core.secrets",
    "foresight": "audit.attack core.channel core.decision core.errors core.model core.pipeline core.release core.wire "
    "foresight_process",
    "foresight_run": "audit.attack audit.chart_files audit.chart_merge audit.error_law audit.residual audit_result "
    "checkpoint core.channel core.desk_record core.errors core.model core.pipeline core.record_log core.restart "
    "core.secrets foresight foresight_process journal recording secrets_file | numpy time",
    "promises": "audit_gate audit_result core.channel core.decision core.errors core.model core.pipeline core.policy "
    "core.release core.secrets expedition foresight_process outlet quantities",
    "taking": "core.decision core.errors core.find core.model core.pipeline clock desk_decided journal standing",
    "ship": "core.channel core.decision core.desk_record core.errors core.model core.pipeline core.seal core.sources "
    "core.wire audit_gate checkpoint clock control deciding desk_room expedition feeds inviting journal outlet "
    "promises recording secrets_file site standing taking uplink",
    "running": "expedition page_words public_files site site_files",
    "until_stopped": "",
    "rehearse": "core.errors core.model core.pipeline core.policy core.release core.seal core.secrets "
    "core.sources capture journal outlet",
    # the invented dive
    "vehicle_motion": "core.model seabed",
    "station_reports": "core.model seabed vehicle_motion | pyproj",
    "simulated": "core.model seabed station_reports vehicle_motion",
    "station_sender": "station_reports",
    "demo": "simulated station_reports",
    "demo_run": "core.errors core.model core.restart checkpoint clock demo expedition journal recording "
    "running secrets_file ship site_files station_reports station_sender until_stopped",
    "still_file": "core.errors core.still | PIL",
    "site_key": "core.errors core.seal core.secrets expedition journal secrets_file",
    "printable": "",
    "verify": "core.errors core.proof core.seal core.verification exit_code printable programme_file "
    "shell.record.verifying",
    "reading_arguments": "",
    "tell_words": "quantities",
    "tell_arguments": "",
    # the audit's command: what it was given, what came of it
    "table_file": "core.errors",
    "ship_track_file": "audit.attack core.errors table_file | numpy",
    "wreck_list_file": "audit.attack core.errors ship_track_file table_file",
    "true_place": "audit.attack audit.chart core.errors core.geodesy core.model core.policy core.release core.sources "
    "journal | numpy",
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
    "audit.played audit_case audit_promises audit_words core.errors expedition printable report_page "
    "true_place true_spellings | numpy",
    "policy_file": "core.errors toml_lines",
    "advise_arguments": "reading_arguments",
    "advised_keys": "audit.settings core.policy expedition_form quantities",
    "advise_dive": "audit.journey core.errors core.policy core.wire expedition recording rehearse secrets_file",
    "advise_words": "audit.advise audit.settings audit.trial core.policy audit_result quantities",
    "advise_picture": "audit.advise audit.trial audit_result core.errors | matplotlib matplotlib.axes "
    "matplotlib.backends.backend_agg matplotlib.backends.backend_svg matplotlib.figure",
    "advise_run": "advise_dive audit.advise audit.attack audit.chart audit.chart_files audit.declared audit.journey "
    "audit.known_seabed audit.settings audit.ship_alignment audit.ship_path audit.sites "
    "audit.soundings_of audit.told audit.trial audit_case audit_result core.errors core.policy expedition "
    "quantities ship_track_file | numpy",
    "advise_command": "advise_picture advise_run advise_words advised_keys audit.attack audit.settings audit_libraries "
    "audit_result core.errors core.policy expedition policy_file quantities | rich",
    "audit_command": "audit.attack audit_libraries audit_run core.errors exit_code printable | rich",
    "tell": "core.errors core.still control expedition quantities still_file tell_words",
    "shore_words": "certificate_end quantities shore_file shore_named uplink_tls",
    "shore_command": "log_lines shore shore_file shore_named shore_run shore_words until_stopped | uvloop",
    "deploy": "",
    "guest_arguments": "reading_arguments",
    "guests_told": "core.decision core.errors core.model core.seal attendance clock control deciding desk_decided "
    "expedition guest_book guest_door inviting journal secrets_file taking",
    "app": "core.errors core.figures core.policy core.release core.seal core.secrets audit_gate audit_result "
    "briefing clock demo_run deploy "
    "desk_token exit_code expedition export guests_told import_log log_lines page_words plain_cautions plain_ground "
    "plain_words public_files publish quantities recording rehearse running secrets_file ship site_files site_key "
    "until_stopped verify shell.record.reporting | rich uvloop",
}

# An attack reads what was released, so a row here may hold its own folder, core modules and `shell.recording`.
SHELL |= RECORD

AUDIT = {
    "chart": "| numpy",
    "filled": "chart chart_sampling | numpy",
    "error_law": "chart filled | numpy scipy",
    "likelihood": "chart | numpy scipy",
    "match": "attack chart evidence filled likelihood | numpy scipy",
    "calibration": "attack chart error_law evidence filled match | numpy",
    "chart_match": "attack evidence match soundings_of",
    "chart_error": "chart | numpy scipy",
    "chart_placeholder": "chart chart_error | numpy",
    "chart_grid": "chart chart_error chart_placeholder core.errors | numpy scipy",
    "chart_sampling": "chart | numpy",
    "chart_words": "chart core.errors",
    "chart_plane": "chart chart_grid chart_sampling | numpy pyproj",
    "chart_csv": "chart chart_grid chart_words core.errors | numpy",
    "chart_netcdf": "chart chart_grid chart_plane chart_words core.errors | h5netcdf numpy pyproj scipy",
    "chart_geotiff": "chart chart_grid chart_plane chart_words core.errors | PIL numpy pyproj",
    "chart_merge": "chart chart_sampling core.errors | numpy",
    "chart_files": "chart chart_csv chart_geotiff chart_netcdf core.errors",
    "evidence": "chart | numpy",
    "posterior": "chart | numpy",
    "attack": "chart core.wire",
    "declared": "chart core.area | numpy pyproj",
    "withheld": "attack core.policy core.release core.wire | msgpack",
    "attacks": "attack averaging cell_edges chart_match dead_reckoning differencing environment free_text known_wrecks "
    "leak_scan send_times ship_alignment totals zone_edges",
    "known_seabed": "calibration chart | numpy",
    "played": "attack calibration chart core.policy evidence posterior withheld | numpy",
    # attacks on motion and on sources beside the chart
    "shown_track": "attack chart chart_match core.release | numpy",
    "spots": "chart | numpy scipy",
    "earth_tied": "attack chart shown_track | numpy pyproj",
    "dead_reckoning": "attack chart ship_alignment ship_path shown_track spots | numpy scipy",
    "ship_path": "attack chart | numpy scipy shapely",
    "ship_alignment": "attack chart ship_path shown_track spots | numpy scipy",
    "totals": "attack chart earth_tied shown_track spots core.figures core.release | numpy scipy",
    "zone_edges": "attack chart earth_tied shown_track spots | numpy scipy",
    "averaging": "attack chart earth_tied shown_track spots | numpy",
    "cell_edges": "attack chart earth_tied shown_track spots core.quantise | numpy scipy",
    # attacks on what is told besides the track
    "well_formed": "attack core.policy",
    "told_texts": "attack core.policy core.release",
    "told_places": "chart core.place_angles core.place_fold core.place_in_text core.place_tokens core.place_words "
    "| pyproj",
    "free_text": "attack spots told_places told_texts core.place_in_text core.time_in_text",
    "send_times": "attack chart shown_track spots told_texts core.release core.wire | numpy scipy",
    "leak_shape": "attack told_texts core.errors core.policy core.release core.seal core.wire",
    "leak_scan": "attack chart earth_tied leak_shape shown_track spots told_places told_texts | msgpack numpy pyproj",
    "known_wrecks": "attack chart shown_track soundings_of spots told_texts core.place_fold core.place_names | numpy",
    "tide": "attack chart core.quantise core.release | numpy",
    "compass": "attack chart shown_track | numpy",
    "environment": "attack chart compass shown_track tide told_texts | gsw numpy",
    "frame_on_earth": "chart earth_tied shown_track core.quantise | numpy",
    "differencing": "attack chart earth_tied frame_on_earth shown_track spots core.quantise | numpy",
    "seabed_bounds": "attack core.disclosure core.policy core.quantise core.release core.wire",
    "residual": "attack chart declared evidence match posterior soundings_of core.area core.errors | numpy",
    "soundings_of": "attack chart evidence seabed_bounds | numpy scipy",
    "settings": "core.policy",
    "journey": "chart core.policy core.wire | numpy",
    "told": "attack chart core.disclosure core.dive_phases core.policy core.quantise core.track core.wire journey "
    "| numpy",
    "sites": "chart filled journey | numpy",
    "trial": "attack calibration chart core.policy evidence journey match posterior sites told | numpy scipy",
    "advise": "attack calibration chart core.policy settings trial | numpy",
}
