"""Settings worth keeping: what was fired, on which rig, what it looks like, and how certain that is.

recipe       a recipe as a value
form         the text of its file, checked where it enters
package      the file itself: an open zip, never trusted
shelf        where recipes are kept, by name
make         a recipe from a shot of the log
events       when things meet, free of the milliseconds of one rig; and the plan for another rig
day          what today's drops and weather do to a recipe, and the correction
sheet        one printed page
"""
