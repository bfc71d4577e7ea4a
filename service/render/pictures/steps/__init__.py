"""Line drawings for the steps where people would rather look than read: functions of this job's numbers and sides.

Nothing is drawn or written that the caller does not give: a number that is not known is left out with its arrow, a
ring that the plan does not have is not drawn. Black line on white, no shading; not to scale.
A drawing is made once for the same numbers and kept: nobody adds to it.
"""
