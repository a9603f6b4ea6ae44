"""What is to be said of a file, in plain words with what to do; by the codes of its problems."""

from __future__ import annotations

from api.language import deferred

# What can be changed: by sending the file again, or by how a device is worn next time.
TO_DO = {
    "empty": deferred("The file is empty: save the recording again and send the new file."),
    "unknown_format": deferred(
        "It is not a recording that can be read here: save it as FIT, TCX, GPX or CSV."
    ),
    "damaged": deferred("It is broken from the start: save the recording again and send that."),
    "no_samples": deferred("Nothing was recorded in it: is it a plan or a summary?"),
    "too_large": deferred("It is too large: send the recording of this one class only."),
    "unsafe_markup": deferred("It holds things that a recording has no need of: save it anew."),
    "unsafe_archive": deferred("The zip cannot be opened safely: send the recordings themselves."),
    "truncated": deferred("Its end is missing; what was there is used. Save it again if you can."),
    "bad_crc": deferred("Part of it was changed on the way; what is sound is used. Send it again."),
    "wrong_extension": deferred("Its name ends unlike what is in it; the content is what counts."),
    "damaged_message": deferred("Parts of it cannot be read and were left out."),
    "no_heart_rate": deferred("There is no heart rate in it: was the sensor on?"),
}

# What a sensor did, and what helps, said once.
SENSOR = {
    "heart_rate_dropped": deferred("Heart rate is missing for a while."),
    "heart_rate_frozen": deferred("Heart rate stands still for a while and is not used there."),
    "heart_rate_jumped": deferred("Heart rate jumps where no heart does; that is not used."),
    "heart_rate_rough": deferred("Heart rate is rough, as it gets with gripping."),
    "heart_rate_late": deferred("Heart rate comes late from this sensor."),
    "zero_heart_rate": deferred("Heart rate is 0 in places and is not used there."),
}
WEAR = deferred("Wear the sensor tighter, or a strap.")

# Worth knowing, and nobody has to do anything.
TO_KNOW = {
    "clock_out": deferred("Its clock is not the class's; the samples themselves tell the place."),
    "no_date": deferred("It has no date; the samples themselves tell the place."),
    "no_time": deferred("It has no time of day; the samples themselves tell the place."),
    "no_timezone": deferred("Its clock names no zone; the samples themselves tell the place."),
    "ambiguous_date": deferred("Its date can be read in two ways; the one that fits is used."),
    "unit_assumed": deferred("It names no unit for a column; the one that fits is used."),
    "time_assumed": deferred("It names no time; the column that holds moments is used."),
    "unknown_source": deferred("Its name does not say what recorded it; the content does."),
    "time_restarts": deferred("Its clock starts again in the middle; the parts are put in order."),
    "clock_jump": deferred("Its clock jumps; the jump is taken out."),
    "duplicate_time": deferred("Some of its samples stand twice; one of each is used."),
    "backward_time": deferred("Some of its samples run backwards and are left out."),
    "impossible_value": deferred("Values that no sensor can mean are left out."),
    "bad_value": deferred("Cells that are no numbers are left out."),
    "unknown_column": deferred("Columns of no known name are left out."),
    "trailing_bytes": deferred("After its end there is more; that is left out."),
    "zero_bytes": deferred("Zeros stand where data should be; they are left out."),
    "unsafe_name": deferred("Its name was made plainer."),
}

# Said with the athlete's energy, not with the file.
ABOUT_ENERGY = "energy_"
OTHER = deferred("Something in it was not as it should be.")


def words_for(codes: list[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What to do, and what to know, each sentence once; a code without words has a general one."""
    said = [code for code in dict.fromkeys(codes) if not code.startswith(ABOUT_ENERGY)]
    to_do = [TO_DO[code] for code in said if code in TO_DO]
    sensor = [SENSOR[code] for code in said if code in SENSOR]
    others = (TO_KNOW.get(code, OTHER) for code in said if code not in TO_DO | SENSOR)
    return (*to_do, *sensor, *([WEAR] if sensor else [])), tuple(dict.fromkeys(others))
