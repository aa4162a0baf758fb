"""Addresses of propagation. One block per part of the job; names are flat."""

from django.urls import path

from propagation.views import colonies, cutting, incidents, lineages, plugs, preferences, racks, sign_in, systems, today

urlpatterns = [
    # -- signing in and today
    path("", today.today, name="today"),
    path("sign-in/", sign_in.SignIn.as_view(), name="sign_in"),
    path("sign-in/link/", sign_in.sign_in_by_link, name="sign_in_by_link"),
    path("sign-out/", sign_in.SignOut.as_view(), name="sign_out"),
    # -- recording a cutting session
    path("cut/", cutting.cut, name="cut"),
    path("cut/mothers/", cutting.cut_mothers, name="cut_mothers"),
    path("sessions/", cutting.sessions, name="sessions"),
    path("sessions/from-file/", cutting.session_from_file, name="session_from_file"),
    path("sessions/<int:pk>/", cutting.session, name="session"),
    path("sessions/<int:pk>/correct/", cutting.session_correct, name="session_correct"),
    # -- racks, plugs and healing
    path("racks/", racks.racks, name="rack"),
    path("racks/<int:spot_id>/", racks.rack_grid, name="rack_grid"),
    path("plugs/heal/", racks.plugs_heal, name="plugs_heal"),
    path("plugs/dead/", racks.plugs_dead, name="plugs_dead"),
    path("plugs/insurance/", racks.plugs_insurance, name="plugs_insurance"),
    path("plugs/move/", racks.plugs_move, name="plugs_move"),
    path("plugs/put-back/", racks.plugs_put_back, name="plugs_put_back"),
    path("plugs/go/", racks.plugs_go, name="plugs_go"),
    path("plugs/undo/<uuid:act>/", racks.plugs_undo, name="plugs_undo"),
    path("plugs/<str:code>/", plugs.plug, name="plug"),
    path("plugs/<str:code>/grow-on/", plugs.plug_grow_on, name="plug_grow_on"),
    path("plugs/<str:code>/correct/", plugs.plug_correct, name="plug_correct"),
    path("plugs/<str:code>/void/", plugs.plug_void, name="plug_void"),
    path("plugs/<str:code>/checks/<int:pk>/take-back/", plugs.check_take_back, name="check_take_back"),
    # -- lineages, systems, colonies, acquisitions, preferences
    path("lineages/", lineages.lineages, name="lineages"),
    path("lineages/new/", lineages.lineage_new, name="lineage_new"),
    path("lineages/<int:pk>/", lineages.lineage, name="lineage"),
    path("lineages/<int:pk>/edit/", lineages.lineage_edit, name="lineage_edit"),
    path("systems/", systems.systems, name="systems"),
    path("systems/new/", systems.system_new, name="system_new"),
    path("systems/<int:pk>/", systems.system, name="system"),
    path("systems/<int:pk>/edit/", systems.system_edit, name="system_edit"),
    path("systems/<int:pk>/end/", systems.system_end, name="system_end"),
    path("systems/<int:pk>/restart/", systems.system_restart, name="system_restart"),
    path("systems/<int:pk>/spots/new/", systems.spot_new, name="spot_new"),
    path("spots/<int:pk>/", systems.spot_edit, name="spot_edit"),
    path("colonies/", colonies.colonies, name="colonies"),
    path("colonies/<str:tag>/", colonies.colony, name="colony"),
    path("colonies/<str:tag>/edit/", colonies.colony_edit, name="colony_edit"),
    path("colonies/<str:tag>/move/", colonies.colony_move, name="colony_move"),
    path("colonies/<str:tag>/place/", colonies.colony_place_correct, name="colony_place_correct"),
    path("colonies/<str:tag>/measure/", colonies.colony_measure, name="colony_measure"),
    path("colonies/<str:tag>/sizes/<int:pk>/", colonies.size_correct, name="size_correct"),
    path("colonies/<str:tag>/end/", colonies.colony_end, name="colony_end"),
    path("colonies/<str:tag>/bring-back/", colonies.colony_bring_back, name="colony_bring_back"),
    path("incidents/", incidents.incidents, name="incidents"),
    path("incidents/new/", incidents.incident_new, name="incident_new"),
    path("incidents/<int:pk>/close/", incidents.incident_close, name="incident_close"),
    path("preferences/", preferences.preferences, name="preferences"),
    # -- tracing
]
