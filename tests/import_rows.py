"""The import table: each module of `relay/`, with the modules of ours and the libraries that it may import.

A row reads `room: "rooms it may import | libraries it may import"`, names of the same folder unless they say
`core.` or `shell.`. The core's rows stand here, the shell's and the audit's in files of their own.
"""

from import_rows_audit import AUDIT as AUDIT
from import_rows_shell import SHELL as SHELL

CORE = {
    "errors": "",
    "model": "| msgspec",
    "quantise": "",
    "policy": "area",
    "ranges": "",
    "secrets": "",
    "still": "errors",
    "websocket": "",
    # bytes of a feed into observations
    "nmea_framing": "model | msgspec",
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
    "place_fold": " | unicodedata",
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
    "recording_form": "errors policy release still wire",
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
